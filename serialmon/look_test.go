package serialmon_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"propwright/serialmon"
	"propwright/serialmon/serialtest"
)

// consoleTexts are texts of five sorts, none of them the sample of the program.
func consoleTexts() map[string][]byte {
	var log, obj, table, colour, dump strings.Builder
	for i := range 400 {
		fmt.Fprintf(&log, "%05d warden: lantern %d lit, door %s, %d visitors\r\n", i*37, i%7, []string{"shut", "ajar", "open"}[i%3], i*i%11)
		fmt.Fprintf(&obj, "{\"t\":%d,\"who\":\"otter\",\"depth\":%d.%d,\"wet\":%t}\r\n", i*211, i%9, i*7%10, i%2 == 0)
		fmt.Fprintf(&table, "%d,%d,%d\r\n", 1000+i*13, i%20, 900-i*2)
		fmt.Fprintf(&colour, "\x1b[3%dm%s\x1b[0m %d°C grün ✓\r\n", i%8, []string{"ready", "waiting", "done"}[i%3], i%40)
		fmt.Fprintf(&dump, "%04X: %02X %02X %02X %02X %02X %02X %02X %02X\r\n", i*8, i*7%256, i*31%256, i*57%256, i*91%256, i*113%256, i*5%256, i*201%256, i*77%256)
	}
	return map[string][]byte{
		"log": []byte(log.String()), "objects": []byte(obj.String()), "table": []byte(table.String()),
		"colour": []byte(colour.String()), "dump": []byte(dump.String()),
	}
}

// The likely speed is named from the look of the garbage alone, for all pairs of
// common speeds, heard through the tests' own model of a receiver. Speeds within 7 %
// of the right one count as right, for they read each other's text; so do those from
// which nothing but zero bytes can be told apart.
func TestLooksNameTheSpeed(t *testing.T) {
	type cell struct{ right, firstTwo, sure, sureRight, silent, all int }
	texts := consoleTexts()
	table := map[int]*cell{64: {}, 256: {}, 1024: {}}
	for _, readAt := range serialmon.CommonSpeeds() {
		for _, sentAt := range serialmon.CommonSpeeds() {
			if near(sentAt, readAt) {
				continue
			}
			for _, text := range texts {
				heard := serialtest.Received(readAt, serialtest.Sending{Text: text, Baud: sentAt, Pause: 3})
				for n, c := range table {
					if len(heard) < n+16 {
						continue
					}
					window := heard[16 : 16+n]
					c.all++
					looks := serialmon.Looks(window, readAt)
					zeros := bytes.Count(window, []byte{0}) == n
					if len(looks) == 0 {
						c.silent++
						continue
					}
					right := near(looks[0].Baud, sentAt) || zeros && looks[0].Baud*9 <= readAt && sentAt*9 <= readAt
					if right {
						c.right++
					}
					if right || len(looks) > 1 && near(looks[1].Baud, sentAt) {
						c.firstTwo++
					}
					if looks[0].Share > 0.9 {
						c.sure++
						if right {
							c.sureRight++
						}
					}
				}
			}
		}
	}
	for _, n := range []int{64, 256, 1024} {
		c := table[n]
		t.Logf("%4d bytes: right %.1f %%, among the first two %.1f %%, not told %.1f %% of %d; where sure (%.1f %%), right %.1f %%",
			n, pct(c.right, c.all), pct(c.firstTwo, c.all), pct(c.silent, c.all), c.all, pct(c.sure, c.all), pct(c.sureRight, c.sure))
		if c.all < 1000 || pct(c.right, c.all) < 65 || pct(c.sureRight, c.sure) < 75 {
			t.Errorf("%d bytes: a hint that is right so seldom is none", n)
		}
	}
}

func pct(n, of int) float64 { return 100 * float64(n) / float64(max(of, 1)) }

// near reports whether a receiver at the one speed reads the other's text.
func near(a, b int) bool { return a*100 >= b*93 && b*100 >= a*93 }

// What is no text at any speed looks like none, and too little tells nothing.
func TestLooksOfWhatIsNoText(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	noise := make([]byte, 1024)
	for i := range noise {
		noise[i] = byte(random.Uint32())
	}
	for name, heard := range map[string][]byte{"noise": noise, "too little": make([]byte, 63), "nothing": nil} {
		if looks := serialmon.Looks(heard, 115200); len(looks) > 0 && looks[0].Share > 0.95 {
			t.Errorf("%s: %v; want nothing sure", name, looks[:min(2, len(looks))])
		}
	}
}
