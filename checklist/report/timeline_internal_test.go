package report

import (
	"strings"
	"testing"

	"propwright/checklist"
)

func sampleTimeLine() *checklist.TimeLine {
	ms := func(n int) *int { return &n }
	return &checklist.TimeLine{LimitMS: 500, Showings: []checklist.TimeLineShowing{
		{Coil: 117, OnMS: ms(90), LeftMS: ms(3000), OffMS: ms(3080), OffByMS: 36},
		{Coil: 117, OnMS: ms(-30), LeftMS: ms(2900), OffMS: ms(2980), OffByMS: 36},
		{Coil: -1, LeftMS: ms(3100)},
	}}
}

func TestDrawTimeLineShowsTagsAndWrites(t *testing.T) {
	text := string(drawTimeLine(sampleTimeLine()))
	got := elements(t, text)
	for class, n := range map[string]int{"tag": 3, "on": 2, "trial": 2, "own": 2, "cover": 1, "axis": 3} {
		if got[class] != n {
			t.Errorf("%d of class %s; want %d", got[class], class, n)
		}
	}
	if !strings.Contains(text, "Dashes: the limit, 0.5 s.") || strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
		t.Errorf("the picture reads %s", text)
	}
}

// A file from elsewhere can hold any numbers, and too many of them.
func TestDrawTimeLineIsBounded(t *testing.T) {
	if got := drawTimeLine(nil); got != "" {
		t.Errorf("nothing to draw gives %q", got)
	}
	if got := drawTimeLine(&checklist.TimeLine{Showings: make([]checklist.TimeLineShowing, mostShowings+1)}); got != "" {
		t.Errorf("too many showings give %d bytes", len(got))
	}
	far, near := int(^uint(0)>>1), -int(^uint(0)>>1)
	text := string(drawTimeLine(&checklist.TimeLine{Showings: []checklist.TimeLineShowing{{OnMS: &far, LeftMS: &near, OffByMS: far}}}))
	elements(t, text)
	if len(text) > 4000 || strings.Contains(text, "NaN") || strings.Contains(text, "Inf") {
		t.Errorf("far numbers give %d bytes: %.300s", len(text), text)
	}
}
