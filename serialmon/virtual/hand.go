package virtual

import (
	"math"
	"time"
)

// The read range: each presentation is read up to a distance of its own, because
// no two are alike, spread about a middle by a logistic law. Figures from
// experience with a printed coil and a card, no source.
const (
	rangeMM      = 21.0 // at 33 dB
	rangeGainMM  = 3.5  // more at 48 dB
	rangeScale   = 0.7
	rangeShortMM = 3.5 // with the fault short-range
	noiseLimit   = 4.0 // of the law's tails, in scales: what touches the reader is read
)

// hand is what hands do at one reader.
type hand struct {
	tag      uid     // in front of the reader; "" when none
	spacing  float64 // mm
	reach    float64 // up to which this presentation is read, mm
	missed   bool
	gap      time.Time
	flexRead bool // a version was read since the board was bent
}

// place lays a tag in front of a reader.
func (b *Board) place(reader int, u uid, spacing float64) {
	r := b.random.hand
	p := min(max(r.Float64(), 1e-9), 1-1e-9)
	noise := min(max(math.Log(p/(1-p)), -noiseLimit), noiseLimit)
	middle := rangeMM + rangeGainMM*float64(b.build.Gain-33)/15
	if b.faultAt(faultShortRange, reader) {
		middle = rangeShortMM
	}
	h := &b.hands[reader]
	h.tag, h.spacing, h.reach = u, spacing, middle+rangeScale*noise
	h.missed = b.faultAt(faultMisses, reader) && spacing > 0 && b.misses()
	h.gap = b.clock.Now().Add(b.flickerAfter())
}

// misses spreads the misses of the fault of that name: one in three or four, three
// in ten in the long run.
func (b *Board) misses() bool {
	if b.toMiss > 0 {
		b.toMiss--
		return false
	}
	b.toMiss = 2
	if b.random.hand.IntN(3) == 0 {
		b.toMiss = 3
	}
	return true
}

func (b *Board) flickerAfter() time.Duration {
	return between(b.random.hand, 1200*time.Millisecond, 1900*time.Millisecond)
}

// flickerGap is how long the fault flicker loses a tag.
const flickerGap = 300 * time.Millisecond

// sense is what a reader's chip finds: the tag's identity, "" when none.
func (b *Board) sense(reader int) uid {
	h := &b.hands[reader]
	if b.fault(faultReadersCrossed) && reader < 2 {
		h = &b.hands[1-reader]
	}
	if h.tag == "" || h.missed || b.fw.readers[reader].deaf || h.spacing >= h.reach {
		return ""
	}
	if b.faultAt(faultLooseJoint, reader) && b.flexed == reader && b.random.reader.Float64() < 0.7 {
		return ""
	}
	if b.faultAt(faultFlicker, reader) {
		switch now := b.clock.Now(); {
		case now.After(h.gap.Add(flickerGap)):
			h.gap = now.Add(b.flickerAfter())
		case !now.Before(h.gap):
			return ""
		}
	}
	return h.tag
}
