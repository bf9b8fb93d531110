// Package reach measures how far a reader reads and how reliably: presentations
// of the prop's own tag at known spacings are counted, and what the count proves
// is said with an exact binomial bound.
//
// It gives the engine the kinds of check "range" (Range) and "repeat" (Repeat).
// Both put every presentation on record as it is finished and go on after the
// ones on record when a run is resumed. The package reads nothing but the log
// that its Scene shows; it fits no curve through the counts.
package reach
