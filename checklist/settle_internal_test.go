package checklist

import (
	"testing"
	"time"

	"propwright/parsers"
)

func TestTheSilenceThatEndsAStartFollowsThoseOnRecord(t *testing.T) {
	begin := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	type line struct {
		after time.Duration // the line before
		kind  parsers.Kind  // "" for an instruction
	}
	const ms = time.Millisecond
	for name, tt := range map[string]struct {
		lines []line
		quiet time.Duration // since the last one
		want  time.Duration
	}{
		"nothing on record":              {nil, time.Hour, settleQuiet},
		"a start not watched to its end": {[]line{{0, parsers.KindBoot}, {800 * ms, parsers.KindAddress}}, time.Second, settleQuiet},
		"over by its silence":            {[]line{{0, parsers.KindBoot}, {800 * ms, parsers.KindAddress}}, 10 * time.Second, settleLeast},
		"lines close together":           {[]line{{0, parsers.KindBoot}, {10 * ms, parsers.KindAddress}}, 10 * time.Second, settleLeast},
		"slow to start":                  {[]line{{0, parsers.KindBoot}, {1900 * ms, parsers.KindLinkUp}, {10 * time.Second, parsers.KindBoot}}, 0, settleQuiet},
		"what hands do is no start":      {[]line{{0, parsers.KindBoot}, {100 * ms, parsers.KindAddress}, {4 * time.Second, ""}, {1500 * ms, parsers.KindTagPresent}}, 10 * time.Second, settleLeast},
		"at the line that ended another": {[]line{{0, parsers.KindBoot}, {800 * ms, parsers.KindAddress}, {5 * time.Second, parsers.KindBoot}, {800 * ms, parsers.KindAddress}}, 0, settleLeast},
		"before that line":               {[]line{{0, parsers.KindBoot}, {800 * ms, parsers.KindAddress}, {5 * time.Second, parsers.KindBoot}}, 0, 1200 * ms},
		"another line than that":         {[]line{{0, parsers.KindBoot}, {800 * ms, parsers.KindAddress}, {5 * time.Second, parsers.KindBoot}, {800 * ms, parsers.KindLinkUp}}, 0, 1200 * ms},
		"cut short by a reset":           {[]line{{0, parsers.KindBoot}, {1500 * ms, parsers.KindBoot}, {400 * ms, parsers.KindAddress}, {10 * time.Second, parsers.KindBoot}}, 0, 600 * ms},
	} {
		t.Run(name, func(t *testing.T) {
			at := begin
			var entries []Entry
			for _, l := range tt.lines {
				at = at.Add(l.after)
				e := Entry{At: at}
				if l.kind == "" {
					e.Instruct = &Instruction{}
				} else {
					e.Event = &parsers.Event{Kind: l.kind, Raw: []byte(l.kind)}
				}
				entries = append(entries, e)
			}
			if got := silenceAfter(entries, at.Add(tt.quiet)); got != tt.want {
				t.Errorf("silenceAfter = %v, want %v", got, tt.want)
			}
		})
	}
}
