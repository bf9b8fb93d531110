// Package report makes the signed record of a commissioning run and reads it
// back: Build folds the run's log into a Model, Write puts the bundle on disk
// (report.json in canonical form, its SSH signature, the HTML made from it and
// the records they rest on), Verify goes through a bundle and names everything
// that does not hold, Show prints a report for a terminal.
//
// It stands at the end of the flow and never computes the verdict of a step: it
// takes the outcomes that the log holds. What people see (HTML, text) is made
// from the signed bytes alone and carries short keyed fingerprints instead of tag
// identifiers. The package reads no clock, draws no random numbers of its own and
// touches no file outside the folder that it is given, save the key files named
// to LoadKey and SaveKey.
package report
