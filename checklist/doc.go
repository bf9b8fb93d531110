// Package checklist is the working day of commissioning a tag reader: one
// ordered log of what was seen, said and measured, the belief about the board
// that follows from it, a procedure of steps as data, the engine that walks it,
// and the findings it comes to.
//
// Data flows one way. Events, frames and answers are appended to the Log; a step
// reads the log through its Scene and never the port; a step's findings name the
// log entries and console bytes they rest on. The package knows neither serial
// ports nor sockets nor files beyond its journal: the board, the person, the
// clock and the controller's side are small interfaces declared here and passed
// in. It imports none of its own sub-packages: kinds of check reach the engine
// through the Checks that cmd fills.
package checklist
