// Command propwright helps to commission the home-built 13.56 MHz tag readers of
// live puzzle rooms: from the first power-on at the bench to the signed report,
// and later to the question why one does not register tags.
//
// This package wires and prints. main parses nothing; run builds the streams and
// the commands and turns an error into the exit status; each command is a file of
// its own with a constructor, an options struct and a run function. What the
// commands do lives in parsers, serialmon and checklist.
package main
