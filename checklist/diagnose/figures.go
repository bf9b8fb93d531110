package diagnose

import (
	"fmt"
	"slices"
	"strings"

	"propwright/parsers"
)

// Figures are what was counted of a board's console over one stretch of a script.
type Figures struct {
	Phase    string         `json:"phase"`
	Seconds  float64        `json:"seconds"`
	Asked    int            `json:"asked,omitempty"`    // starts that were called for
	Starts   int            `json:"starts"`             // starts told, those called for included
	Versions map[string]int `json:"versions,omitempty"` // of the reader chip, how often each: "0x92", "none"
	Shown    int            `json:"shown,omitempty"`    // presentations that were called for
	Read     int            `json:"read,omitempty"`     // how many of those were read
	Tags     int            `json:"tags"`               // times that a tag was told to come
	Gone     int            `json:"gone"`               // times that one was told to go
	Noise    int            `json:"noise"`              // runs of bytes that are no text
}

// startSpan is how many lines one start may take to say that it is one (judgement).
const startSpan = 4

// saysStart reports whether the line itself says that the board starts. That a line comes
// back counts for nothing here: in a script it comes back because something is done again.
func (l *line) saysStart() bool {
	return l.kind == parsers.KindBoot || len(l.bag) <= 5 && startWords.holdsAny(l.bag)
}

// noVersion stands for a line that should hold a version and holds none.
const noVersion = "none"

// NewStretch begins a reading of what is heard in one stretch of a script: its times are
// those of arrival.
func (k *Knowledge) NewStretch() *Reading {
	r := k.NewReading()
	r.arrivals = true
	return r
}

// Figures counts what was read.
func (r *Reading) Figures() Figures {
	f := Figures{Versions: map[string]int{}}
	present := map[string]bool{}
	last := -startSpan
	for i := range r.lines {
		l := &r.lines[i]
		switch {
		case l.noise:
			if i == 0 || !r.lines[i-1].noise {
				f.Noise++
			}
			continue
		case l.remark || l.host:
			continue
		case l.saysStart() && i-last >= startSpan:
			f.Starts++
			last = i
			clear(present)
		}
		if v, blank, ok := chipValue(l); ok {
			key := noVersion
			if !blank {
				key = fmt.Sprintf("0x%02X", v)
			}
			f.Versions[key]++
		}
		switch {
		case l.kind == parsers.KindTagAbsent:
			if present[l.reader] {
				f.Gone++
			}
			present[l.reader] = false
		case seesTag(l) && !present[l.reader]:
			f.Tags++
			present[l.reader] = true
		}
	}
	return f
}

// silent reports whether a version is none that a chip gives.
func silent(version string) bool {
	return version == noVersion || version == "0x00" || version == "0xFF"
}

// usualVersion is the version that was told most often over several stretches, "" where
// no chip ever answered.
func usualVersion(all ...Figures) string {
	sum := map[string]int{}
	for _, f := range all {
		for v, n := range f.Versions {
			if !silent(v) {
				sum[v] += n
			}
		}
	}
	best := ""
	for _, v := range sortedKeys(sum) {
		if best == "" || sum[v] > sum[best] {
			best = v
		}
	}
	return best
}

// reads is how many versions were read, and how many of them were not the usual one.
func (f Figures) reads(usual string) (wrong, n int) {
	for v, times := range f.Versions {
		n += times
		if v != usual {
			wrong += times
		}
	}
	// A start that told none is a read that failed.
	if missing := f.Asked - n; missing > 0 {
		wrong, n = wrong+missing, f.Asked
	}
	return wrong, n
}

// unasked is how many starts nobody called for.
func (f Figures) unasked() int { return max(0, f.Starts-f.Asked) }

// versions are the versions told, in words.
func (f Figures) versions() string {
	var out []string
	for _, v := range sortedKeys(f.Versions) {
		out = append(out, fmt.Sprintf("%s %d times", v, f.Versions[v]))
	}
	if len(out) == 0 {
		return "none told"
	}
	return strings.Join(out, ", ")
}

func sortedKeys(m map[string]int) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
