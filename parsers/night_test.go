package parsers

import (
	"fmt"
	"math/rand/v2"
)

// night makes about n bytes of a console as a soak over night leaves it, the same for
// the same seed: a board in plain English with 24 tags, a third of whose lines no
// built-in wording knows. Some lines carry a running number or a clock and so never
// come again; others come all night.
func night(n int, seed uint64) []byte {
	r := rand.New(rand.NewPCG(seed, 7))
	tags := make([]string, 24)
	for i := range tags {
		tags[i] = fmt.Sprintf("%02X %02X %02X %02X", 0x10+r.IntN(0xE0), r.IntN(256), r.IntN(256), r.IntN(256))
		if i%3 == 0 {
			tags[i] = fmt.Sprintf("04 %02X %02X %02X %02X %02X %02X", r.IntN(256), r.IntN(256), r.IntN(256), r.IntN(256), r.IntN(256), r.IntN(256))
		}
	}
	out := make([]byte, 0, n+4096)
	say := func(format string, args ...any) {
		out = append(fmt.Appendf(out, format, args...), "\r\n"...)
	}
	for ms := 0; len(out) < n; ms += 40 + r.IntN(9000) {
		tag := tags[r.IntN(len(tags))]
		switch r.IntN(12) {
		case 0, 1, 2, 3:
			say("tag %s on the reader", tag)
			say("card %s accepted", tag)
			say("coil 117 written on")
			say("[%08d] loop %d us, heap %d free", ms, 380+r.IntN(90), 1200+r.IntN(40))
			say("tag %s gone", tag)
			say("coil 117 written off")
		case 4:
			say("tag %s on the reader", tag)
			say("card %s refused", tag)
			say("three blinks, then dark again")
			say("tag %s gone", tag)
		case 5:
			say("network link up")
			say("controller 10.77.0.10 connected")
			say("socket %d reopened after %d ms", r.IntN(8), r.IntN(4000))
		case 6:
			say("reader gain register reads %d", 64+r.IntN(3))
		case 7:
			say("alive %d s, loop %d us", ms/1000, 380+r.IntN(90))
			say("all four in place, nothing to do")
		case 8:
			say("%02d:%02d:%02d.%03d -> card %s accepted", ms/3600000%24, ms/60000%60, ms/1000%60, ms%1000, tag)
		case 9:
			say("reader error: timeout")
			say("field off for %d ms", 5+r.IntN(60))
		case 10:
			say("coil %d is on", 100+r.IntN(30))
			say("door lamp fades over %d steps", r.IntN(64))
		case 11:
			say("poll %d: nobody home", ms/40)
		}
	}
	return out
}
