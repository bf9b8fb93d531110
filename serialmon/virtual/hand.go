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

// hand is what hands do at the reader.
type hand struct {
	tag      uid     // in front of the reader; "" when none
	spacing  float64 // mm
	reach    float64 // up to which this presentation is read, mm
	missed   bool
	toMiss   int // presentations until the next that is missed
	gap      time.Time
	flexRead bool // a version was read since the board was bent
}

// place lays a tag in front of the reader.
func (b *Board) place(u uid, spacing float64) {
	r := b.random.hand
	p := min(max(r.Float64(), 1e-9), 1-1e-9)
	noise := min(max(math.Log(p/(1-p)), -noiseLimit), noiseLimit)
	middle := rangeMM + rangeGainMM*float64(b.build.Gain-33)/15
	if b.fault(faultShortRange) {
		middle = rangeShortMM
	}
	h := &b.hand
	h.tag, h.spacing, h.reach = u, spacing, middle+rangeScale*noise
	h.missed = b.fault(faultMisses) && spacing > 0 && b.misses()
	h.gap = b.clock.Now().Add(b.flickerAfter())
}

// misses spreads the misses of the fault of that name: one in three or four, three
// in ten in the long run.
func (b *Board) misses() bool {
	if b.hand.toMiss > 0 {
		b.hand.toMiss--
		return false
	}
	b.hand.toMiss = 2
	if b.random.hand.IntN(3) == 0 {
		b.hand.toMiss = 3
	}
	return true
}

func (b *Board) flickerAfter() time.Duration {
	return between(b.random.hand, 1200*time.Millisecond, 1900*time.Millisecond)
}

// flickerGap is how long the fault flicker loses a tag.
const flickerGap = 300 * time.Millisecond

// sense is what the reader chip finds: the tag's identity, "" when none.
func (b *Board) sense() uid {
	h := &b.hand
	if h.tag == "" || h.missed || b.fw.deaf || h.spacing >= h.reach {
		return ""
	}
	if b.fault(faultLooseJoint) && b.flexed && b.random.reader.Float64() < 0.7 {
		return ""
	}
	if b.fault(faultFlicker) {
		switch now := b.clock.Now(); {
		case now.After(h.gap.Add(flickerGap)):
			h.gap = now.Add(b.flickerAfter())
		case !now.Before(h.gap):
			return ""
		}
	}
	return h.tag
}
