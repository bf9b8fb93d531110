package serialtest

import "math"

// A Sending is text on a serial line at 8N1, each line followed by a pause.
type Sending struct {
	Text  []byte
	Baud  int
	Pause float64 // after each line end, in character times
}

// Received is what a receiver at the speed readAt makes of sendings that follow
// each other on one line. It looks for a start bit sixteen times a bit, samples in
// the middle of each bit, least significant first, and after a low stop bit waits
// for the line to be high; it passes on bytes with a wrong stop bit, as a serial
// driver without marks does.
func Received(readAt int, sendings ...Sending) []byte {
	return Receiver{Baud: readAt}.Received(sendings...)
}

// A Receiver is one as in Received, that may join late and may do otherwise after a
// low stop bit.
type Receiver struct {
	Baud   int
	Joins  float64 // seconds after the first sending begins
	AtOnce bool    // takes a low stop bit as the next start bit, as some do
}

// Received is what the receiver makes of sendings that follow each other.
func (r Receiver) Received(sendings ...Sending) []byte {
	w := newWave(sendings)
	var out []byte
	bit := 1 / float64(r.Baud)
	// step goes on by whole sixteenths of a bit, at least one, to reach a moment.
	step := func(at, to float64) float64 { return at + max(1, math.Ceil((to-at)*16/bit))*bit/16 }
	for at := r.Joins; at < w.end; {
		if w.high(at) {
			at = step(at, w.turn(at))
			continue
		}
		if w.high(at + bit/2) {
			at = step(at, at) // too short for a start bit
			continue
		}
		var b byte
		for i := range 8 {
			if w.high(at + bit*(1.5+float64(i))) {
				b |= 1 << i
			}
		}
		out = append(out, b)
		at += bit * 9.5
		if r.AtOnce && !w.high(at) {
			continue
		}
		for at < w.end && !w.high(at) {
			at = step(at, w.turn(at))
		}
	}
	return out
}

// wave is the level of a line over time, as the moments at which characters begin.
type wave struct {
	begins []float64
	bytes  []byte
	bits   []float64 // duration of a bit of each character
	end    float64
	last   int // character looked at last: time mostly goes forward
}

func newWave(sendings []Sending) *wave {
	w := &wave{}
	for _, s := range sendings {
		bit := 1 / float64(s.Baud)
		for _, c := range s.Text {
			w.begins = append(w.begins, w.end)
			w.bytes = append(w.bytes, c)
			w.bits = append(w.bits, bit)
			w.end += 10 * bit
			if c == '\n' {
				w.end += s.Pause * 10 * bit
			}
		}
	}
	return w
}

// high is the level at a moment.
func (w *wave) high(at float64) bool {
	high, _ := w.level(at)
	return high
}

// turn is when the bit, or the idle line, of that moment ends.
func (w *wave) turn(at float64) float64 {
	_, end := w.level(at)
	return end
}

func (w *wave) level(at float64) (high bool, end float64) {
	for w.last > 0 && w.begins[w.last] > at {
		w.last--
	}
	for w.last+1 < len(w.begins) && w.begins[w.last+1] <= at {
		w.last++
	}
	begin, bit := w.begins[w.last], w.bits[w.last]
	n := int((at - begin) / bit)
	if n > 8 { // stop bit and idle line
		if w.last+1 < len(w.begins) {
			return true, w.begins[w.last+1]
		}
		return true, w.end
	}
	end = begin + float64(n+1)*bit
	return n > 0 && w.bytes[w.last]>>(n-1)&1 == 1, end
}
