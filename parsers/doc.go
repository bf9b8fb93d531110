// Package parsers turns a board's console text into typed events.
//
// Bytes go in with their arrival times; lines are split off, bounded and matched
// against wording profiles, which are data; what belongs together is assembled;
// events come out whose Raw and End, in order, give the bytes back exactly.
// The package also knows what a tag's identity and a reader chip's version mean,
// and reads and writes captures as streams.
//
// It opens nothing, reads no clock and knows no step of the checklist. It stands
// between serialmon, which delivers the bytes, and checklist, which reads events.
package parsers
