// Package serialmon listens to a board's serial console.
//
// It lists ports without opening any, opens one without being fooled by what
// serial ports do at their edges, records every byte with its arrival time before
// anyone reads it, and hands bytes and marks (attached, detached, gap) to a Sink.
// A recorded capture and a pipe come through the same Sink.
//
// The way of a byte: a Port's Read, on a goroutine that does nothing else; a
// bounded queue in memory; then, on a second goroutine, the Recorder and after it
// the Sink. The package never sends anything to a board: a Port cannot write.
// It does not read what the bytes say; that is the work of package parsers.
package serialmon
