package link

import (
	"time"

	"propwright/checklist"
)

// mostPictured is how many showings a picture has room for.
const mostPictured = 40

// picture is a time line as a finding carries it, the last showings of many; nil where
// there is nothing to draw.
func picture(l TimeLine, limit time.Duration) *checklist.TimeLine {
	p := &checklist.TimeLine{LimitMS: int(limit.Milliseconds()), Showings: []checklist.TimeLineShowing{}}
	for _, w := range l.Showings[max(len(l.Showings)-mostPictured, 0):] {
		came, _ := spanOf(w.Came)
		after := func(t time.Time) *int { return ptr(int(t.Sub(came).Milliseconds())) }
		s := checklist.TimeLineShowing{Coil: -1}
		if w.On.N != 0 {
			_, bound, _ := w.Delay()
			s.Coil, s.OnMS, s.OffByMS = w.On.Frame.Coil, after(w.On.Frame.At), int(bound.Milliseconds())
		}
		if w.Left.N != 0 {
			left, _ := spanOf(w.Left)
			s.LeftMS = after(left)
		}
		if w.Off.N != 0 {
			s.OffMS = after(w.Off.Frame.At)
		}
		p.Showings = append(p.Showings, s)
	}
	if len(p.Showings) == 0 {
		return nil
	}
	return p
}
