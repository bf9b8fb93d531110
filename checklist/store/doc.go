// Package store keeps a site's plan in an SQL database: an SQLite file in the
// site's folder.
//
// It fulfils plan.Store: each change is one transaction that reads, alters,
// checks and writes, so a change is kept whole or not at all. The rules of the
// plan are checked in Go, for the message, and the tables carry those that a
// database can carry (unique numbers, references, fixed words) as well, for
// whatever else opens the file. What any database for plans must do is stated in
// storetest, which this package passes.
//
// The package knows plan's types and no step, report or port.
package store
