package checklist

import (
	"fmt"
	"net/netip"

	"propwright/parsers"
)

// planable are the settings that a plan holds and a board may print, in the order in which
// they are told.
var planable = []string{
	parsers.SettingCoil, parsers.SettingMAC, parsers.SettingIP, parsers.SettingMask, parsers.SettingGateway,
	parsers.SettingController, parsers.SettingUnit, parsers.SettingPolarity, parsers.SettingLeaving,
}

// Against holds what a board says of itself against the plan: what it prints of its
// settings, the last of each, its address, and which controller it calls. unlike are
// failed findings; alike are the settings that are as planned; untold are the planned
// settings that it never prints, none where it prints no setting at all.
func (it Item) Against(events []parsers.Event) (unlike []Finding, alike, untold []string) {
	told := map[string]string{}
	printed := false
	for i := range events {
		switch e := &events[i]; e.Kind {
		case parsers.KindSetting:
			told[e.Field("name")], printed = e.Field("value"), true
		case parsers.KindAddress:
			for _, name := range planable {
				if v := e.Field(name); v != "" {
					told[name] = v
				}
			}
		case parsers.KindControllerUp, parsers.KindControllerDown:
			if a := e.Field("address"); a != "" {
				told[parsers.SettingController] = a
			}
		}
	}
	for _, name := range planable {
		planned, _ := it.planned(name)
		value, is := told[name]
		switch {
		case planned == "" || name == parsers.SettingCoil && len(it.Readers) > 1 || nowhere(value):
		case !is && printed:
			untold = append(untold, name)
		case is && !it.sameSetting(name, value, planned):
			unlike = append(unlike, it.unlike(name, value, planned))
		case is:
			alike = append(alike, name)
		}
	}
	return unlike, alike, untold
}

// unlike is a setting that is not as planned.
func (it Item) unlike(name, value, planned string) Finding {
	f := Finding{What: "setting " + name, How: Measured, Verdict: Failed, Value: Text(value), Limit: ptr(Text(planned))}
	f.Note = fmt.Sprintf("Echoed %s %s, planned %s.", name, value, planned)
	if owner := it.Owner(name, normalSetting(name, value)); owner != "" {
		f.Note += fmt.Sprintf(" %s %s belongs to %s.", name, value, owner)
	}
	return f
}

// nowhere is the address of a board that has none yet.
func nowhere(value string) bool {
	a, err := netip.ParseAddr(value)
	return err == nil && a.IsUnspecified()
}
