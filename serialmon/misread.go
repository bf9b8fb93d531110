package serialmon

// Misread returns what a receiver at the speed readAt makes of bytes that were
// sent without a pause at the speed sentAt, both in baud, 8N1: it looks for a
// falling edge sixteen times a bit, takes each bit in its middle, hands on the
// byte even when the stop bit is low, and then waits for the line to rise. The
// line is idle before and after. Edges are ideal. A speed of 0 or less gives
// nothing.
func Misread(sent []byte, sentAt, readAt int) []byte {
	if sentAt <= 0 || readAt <= 0 {
		return nil
	}
	w := wave{sent, float64(sentAt)}
	look := 1 / (16 * float64(readAt)) // from one look at the line to the next
	bit := 16 * look
	var got []byte
	for t, high := 0.0, true; ; {
		if !high {
			rises, _ := w.change(t, true)
			t = lookAfter(rises, look)
		}
		falls, ok := w.change(t, false)
		if !ok {
			return got
		}
		t = lookAfter(falls, look)
		if w.level(t + bit/2) {
			t += look // too short for a start bit
			high = w.level(t)
			continue
		}
		var b byte
		for i := range 8 {
			if w.level(t + bit*(1.5+float64(i))) {
				b |= 1 << i
			}
		}
		got = append(got, b)
		t += bit * 9.5
		high = w.level(t)
	}
}

// lookAfter is when the line is looked at next, from a moment on.
func lookAfter(t, look float64) float64 {
	n := float64(int64(t / look))
	if n*look < t {
		n++
	}
	return n * look
}

// A wave is a line's level over the time in seconds.
type wave struct {
	sent []byte
	baud float64
}

// end is when the last stop bit ends.
func (w wave) end() float64 { return float64(10*len(w.sent)) / w.baud }

func (w wave) level(t float64) bool {
	if t < 0 {
		return true
	}
	return w.bit(int(t * w.baud))
}

// bit is the level during the n-th bit.
func (w wave) bit(n int) bool {
	if n >= 10*len(w.sent) {
		return true
	}
	switch i := n % 10; i {
	case 0:
		return false
	case 9:
		return true
	default:
		return w.sent[n/10]>>(i-1)&1 == 1
	}
}

// change is when the line first has a level, from t on; ok is false where it is high
// to the end.
func (w wave) change(t float64, to bool) (at float64, ok bool) {
	if w.level(t) == to {
		return t, to || t < w.end()
	}
	for n := int(t * w.baud); n < 10*len(w.sent); n++ {
		if w.bit(n) == to {
			return max(t, float64(n)/w.baud), true
		}
	}
	return max(t, w.end()), to
}
