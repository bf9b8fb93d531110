package link

import "time"

// A decoder takes the frames out of one direction of a connection's bytes as they
// come, whole or in pieces. It holds one frame at most and changes nothing. After
// bytes that are no frame there is no telling where the next begins, so it looks
// no further.
type decoder struct {
	adu    [maxADU]byte
	n      int       // bytes of a frame under way
	first  time.Time // when the first of them came
	whole  uint64    // frames so far
	broken error     // why it looks no further
}

// An arrival is a whole frame and when its first and last byte came. The bytes are
// the decoder's own and good until the next feed.
type arrival struct {
	adu         []byte
	first, last time.Time
}

// feed takes bytes that came at one time and calls emit for each frame that they
// complete, until emit returns an error. What is no frame is told once, as
// ErrMalformed with the bytes so far; after that feed does nothing.
func (d *decoder) feed(p []byte, at time.Time, emit func(arrival) error) (rest []byte, err error) {
	for len(p) > 0 && d.broken == nil {
		if d.n == 0 {
			d.first = at
		}
		want := headerSize
		if d.n >= headerSize {
			want, _ = frameSize(d.adu[:headerSize]) // it was looked at when it was whole
		}
		k := copy(d.adu[d.n:want], p)
		d.n, p = d.n+k, p[k:]
		if d.n == headerSize && want == headerSize {
			if _, d.broken = frameSize(d.adu[:headerSize]); d.broken != nil {
				return d.adu[:d.n], d.broken
			}
			continue
		}
		if d.n < want {
			continue
		}
		d.n = 0
		d.whole++
		if err := emit(arrival{d.adu[:want], d.first, at}); err != nil {
			return nil, err
		}
	}
	return nil, nil
}

// under reports whether a frame is under way.
func (d *decoder) under() bool { return d.n > 0 && d.broken == nil }
