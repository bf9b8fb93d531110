package reach

import (
	"cmp"
	"fmt"

	"propwright/checklist"
)

// tagForms are the forms of tag that the site's register knows.
var tagForms = []string{"card", "fob", "sticker"}

// form is the form of the tag that was presented, by the register: of the tag that the
// run knows as the prop's own, else of all tags registered as the prop's, where they
// have one form. "" is not known.
func (t *trials) form() string {
	shown := t.s.Belief().Roles[checklist.RoleShow]
	form, several := "", false
	for _, tag := range t.s.Item.Tags {
		if tag.UID == shown && shown != "" {
			return tag.Form
		}
		if tag.Role == checklist.RoleShow && tag.Whose == t.s.Item.Prop {
			several = several || form != "" && tag.Form != form
			form = cmp.Or(form, tag.Form)
		}
	}
	if several {
		return ""
	}
	return form
}

// remarkable is the remark on a range that is farther than this form of tag gives.
func (p plan) remarkable(far float64) string {
	form, source := "this form of tag", "a limit of the site or its procedure"
	if p.form != "" {
		form = "a " + p.form
	}
	if far == defaultFarMM {
		source = "common practice, no source"
	}
	return fmt.Sprintf("Note: more than %s mm is far for %s (%s): look for a wrong list of spacers, another tag, or two spacers counted as one, and whether a tag next to the prop could be read as well.", millimetres(far), form, source)
}
