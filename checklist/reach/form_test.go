package reach_test

import (
	"strings"
	"testing"
	"testing/synctest"

	"propwright/checklist"
)

// What range is remarkable goes by the form of the tag that was presented.
func TestAFarRangeGoesByTheFormOfTheTag(t *testing.T) {
	const shown, other = "04A1B2C3D4E5F6", "04A1B2C3D4E5F7"
	own := func(uid, form string) checklist.Tag {
		return checklist.Tag{UID: uid, Role: checklist.RoleShow, Whose: "harbour-bell", Form: form}
	}
	for name, tt := range map[string]struct {
		tags   []checklist.Tag
		limits map[string]float64
		want   string // "" is no remark on a reader that reads up to 21 mm
	}{
		"no limit of its own":    {tags: []checklist.Tag{own(shown, "sticker")}},
		"a sticker's":            {tags: []checklist.Tag{own(shown, "sticker")}, limits: map[string]float64{"far_sticker_mm": 12, "far_card_mm": 30}, want: "more than 12 mm is far for a sticker (a limit of the site"},
		"a card's":               {tags: []checklist.Tag{own(shown, "card")}, limits: map[string]float64{"far_sticker_mm": 12, "far_card_mm": 30}},
		"of the tag shown":       {tags: []checklist.Tag{own(other, "card"), own(shown, "fob")}, limits: map[string]float64{"far_fob_mm": 10, "far_card_mm": 30}, want: "far for a fob"},
		"no form in the plan":    {tags: []checklist.Tag{own(shown, "")}, limits: map[string]float64{"far_fob_mm": 10}},
		"no tag in the plan":     {limits: map[string]float64{"far_fob_mm": 10, "far_mm": 15}, want: "more than 15 mm is far for this form of tag"},
		"all forms by the usual": {tags: []checklist.Tag{own(shown, "fob")}, limits: map[string]float64{"far_mm": 15, "far_card_mm": 30}, want: "more than 15 mm is far for a fob"},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				b := newBench(t, func(_ int, mm float64) bool { return mm < 21 }, nil)
				only(t, b.rig, "range")
				b.rig.Engine.Item.Tags = tt.tags
				for name, v := range tt.limits {
					b.set(name, v)
				}
				note := finding(t, b.run(t, "range", checklist.Bench), "range").Note
				if remarked := strings.Contains(note, " is far for "); remarked != (tt.want != "") || !strings.Contains(note, tt.want) {
					t.Errorf("note %q; want %q", note, tt.want)
				}
			})
		})
	}
}
