// Package serialtest holds doubles for serial lines: a scripted port, a
// pseudo-terminal, a relay between two of them, a sink that tests can wait on, and
// the conformance test that every source of console bytes passes. It is imported
// by tests only.
package serialtest
