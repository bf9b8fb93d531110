package virtual

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
	var got []byte
	bit := 1 / float64(readAt)
	step := bit / 16
	end := float64(10*len(sent)+1) / w.baud
	high := true
	for t := 0.0; t < end; t += step {
		if w.level(t) {
			high = true
			continue
		}
		if !high {
			continue
		}
		start := t
		if w.level(start + bit/2) {
			continue // too short for a start bit
		}
		var b byte
		for i := range 8 {
			if w.level(start + bit*(1.5+float64(i))) {
				b |= 1 << i
			}
		}
		got = append(got, b)
		t = start + bit*9.5
		high = w.level(t)
	}
	return got
}

// A wave is a line's level over the time in seconds.
type wave struct {
	sent []byte
	baud float64
}

func (w wave) level(t float64) bool {
	n := int(t * w.baud)
	if t < 0 || n >= 10*len(w.sent) {
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
