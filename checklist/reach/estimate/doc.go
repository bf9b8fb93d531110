// Package estimate is the statistics behind read range and repeatability, and
// nothing else: exact bounds of a proportion, the curve of the read rate over the
// spacing with intervals of the spacings that are read so many times in 100, the
// checks of that curve which assume less, and where to present next.
//
// It knows no tags, no spacers and no log; it takes counts and gives figures.
package estimate
