package serialmon_test

import (
	"strings"
	"testing"
	"time"

	"propwright/serialmon"
	"propwright/serialmon/clock"
	"propwright/serialmon/serialtest"
)

// R31: noise right after the start is nothing; garbage that lasts is told once, with
// the speed that it looks like; a new attachment begins anew.
func TestSpeedWatch(t *testing.T) {
	garbage := serialtest.Received(115200, serialtest.Sending{Text: consoleTexts()["log"], Baud: 57600, Pause: 3})
	loader := serialtest.Received(115200, serialtest.Sending{Text: consoleTexts()["log"][:300], Baud: 74880})
	text := consoleTexts()["log"]
	for name, tt := range map[string]struct {
		pieces [][]byte // a second each
		quiet  time.Duration
		want   int
	}{
		"text":                      {[][]byte{text[:1000], text[1000:2000], text[2000:3000]}, 0, 0},
		"a loader, then text":       {[][]byte{loader, text[:1000], text[1000:2000], text[2000:3000]}, 0, 0},
		"garbage, but too short":    {[][]byte{garbage[:500], nil, nil}, 0, 0},
		"garbage, but too early":    {[][]byte{garbage[:3000]}, 0, 0},
		"garbage, then silence":     {[][]byte{garbage[:500]}, 3 * time.Second, 1},
		"a little, then silence":    {[][]byte{garbage[:100]}, 3 * time.Second, 0},
		"a little, now and then":    {[][]byte{garbage[:60], nil, nil, garbage[60:100]}, 3 * time.Second, 1},
		"text, now and then":        {[][]byte{text[:60], nil, nil, text[60:100]}, 3 * time.Second, 0},
		"a loader, a little text":   {[][]byte{loader[:30], nil, nil, text[:60]}, 3 * time.Second, 0},
		"text, then silence":        {[][]byte{text[:500]}, 3 * time.Second, 0},
		"a loader, a word, silence": {[][]byte{loader[:200], text[:200]}, 3 * time.Second, 0},
		"garbage that lasts":        {[][]byte{garbage[:500], garbage[500:1000], garbage[1000:1500], garbage[1500:2000]}, 0, 1},
		"garbage in a later minute": {[][]byte{text[:1000], text[1000:2000], garbage[:1000], garbage[1000:2000]}, 0, 1},
	} {
		t.Run(name, func(t *testing.T) {
			var told []string
			sink := &serialtest.Sink{}
			c := clock.Simulated(noon())
			w := &serialmon.SpeedWatch{Sink: sink, Clock: c, Tell: func(d serialmon.SpeedDoubt) { told = append(told, d.String()) }}
			offset := int64(0)
			for range 2 { // attachments
				must(t, w.Mark(serialmon.Mark{Kind: serialmon.MarkAttached, At: c.Now(), Speed: 115200}))
				for _, p := range tt.pieces {
					must(t, w.Bytes(p, c.Now(), offset))
					offset += int64(len(p))
					must(t, c.Sleep(t.Context(), time.Second))
				}
				must(t, c.Sleep(t.Context(), tt.quiet))
			}
			if len(told) != 2*tt.want {
				t.Fatalf("told %q; want %d each time", told, tt.want)
			}
			for _, line := range told {
				if !strings.Contains(line, "at 115200 baud") || !strings.Contains(line, "57600") {
					t.Errorf("%q names not 115200 and 57600", line)
				}
			}
			if got := len(sink.Text()); int64(got) != offset {
				t.Errorf("%d bytes passed on of %d", got, offset)
			}
		})
	}
}

// Of too few bytes no speed is named, and none is ruled out.
func TestADoubtAboutFewBytesNamesNoSpeed(t *testing.T) {
	few := serialmon.SpeedDoubt{Speed: 9600, Readable: 0.25, Heard: 40}
	if got := few.String(); !strings.Contains(got, "40 bytes are too few") || strings.Contains(got, "looks like") {
		t.Errorf("%q; want that 40 bytes are too few", got)
	}
}
