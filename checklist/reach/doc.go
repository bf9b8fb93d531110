// Package reach measures how far a reader reads and how reliably: presentations
// of the prop's own tag at known spacings are counted, what the count at the cover
// proves is said with an exact binomial bound, and a curve through the counts gives
// the spacings that are read half the time and 95 times in 100, with intervals.
//
// It gives the engine the kinds of check "range" (Range) and "repeat" (Repeat).
// Both put every presentation on record as it is finished and go on after the
// ones on record when a run is resumed; where the next one goes follows from those on
// record alone. The package reads nothing but the log that its Scene shows, and files
// of trials, offsets, spacers and coils that are handed to it as text. The statistics
// are in its folder estimate, the model of a coil in field.
package reach
