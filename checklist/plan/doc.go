// Package plan is what a site knows about itself: its controllers, boards,
// readers, props and tags, with the numbers that belong to each, and the rules
// that keep two things from claiming one number.
//
// A Plan is plain data in memory. Things are added one at a time, as Go values or
// as the key=value words of the command line, and an addition that breaks a rule
// changes nothing. What is legal but deserves a look is a Note. Plan.Item gives
// the steps of a run what they hold a board against.
//
// The package also reads and makes a site's folder. It opens no database: what it
// needs of one is the Store interface, which package store fulfils. It imports
// checklist for the Item and parsers for UIDs, and nothing of its neighbours.
package plan
