package checklist

import (
	"context"
	"fmt"
	"net/netip"
	"strconv"
	"strings"

	"propwright/parsers"
)

// checkSettings holds what the board echoed at its last boot against the plan.
// What was not echoed is not confirmed: a planned value is no evidence.
func checkSettings(_ context.Context, s *Scene) ([]Finding, error) {
	names, err := s.Step.strings("confirm")
	if err != nil {
		return nil, err
	}
	b := s.Belief()
	var findings []Finding
	for _, name := range names {
		if name == parsers.SettingCoil && len(s.Item.Readers) > 1 {
			for _, r := range s.Item.Readers {
				f := s.settingFinding(name, strconv.Itoa(r.Coil), s.Log.Belief().of(r.Index))
				f.What, f.Reader = fmt.Sprintf("%s of reader %d", f.What, r.Index), r.Index
				findings = append(findings, f)
			}
			continue
		}
		planned, known := s.Item.planned(name)
		if !known {
			return nil, fmt.Errorf("step %q: parameter \"confirm\": %q is no setting that a plan holds", s.Step.ID, name)
		}
		if planned == "" {
			continue // the site does not plan it
		}
		findings = append(findings, s.settingFinding(name, planned, b))
	}
	return findings, nil
}

func (s *Scene) settingFinding(name, planned string, b Belief) Finding {
	f := Finding{What: "setting " + name, How: Measured, Limit: ptr(Text(planned))}
	echo, told := b.Settings[name]
	if !told {
		f.Verdict, f.Value = NotConfirmed, Text("not echoed")
		f.Note = fmt.Sprintf("The board does not tell its %s at start, so nothing here proves it; the link step sees more.", name)
		f.Rests = RefsOf(s.Log.entry(b.BootN))
		return f
	}
	if !s.Item.sameSetting(name, echo.Value, planned) {
		f = s.Item.unlike(name, echo.Value, planned)
	} else {
		f.Verdict, f.Value = Passed, Text(echo.Value)
	}
	f.Rests = RefsOf(s.Log.entry(echo.N))
	return f
}

// planned returns what the plan holds for a setting; known is false for a name
// that no plan has.
func (it Item) planned(name string) (value string, known bool) {
	switch name {
	case parsers.SettingCoil:
		if len(it.Readers) == 0 {
			return "", true
		}
		return strconv.Itoa(it.Readers[0].Coil), true
	case parsers.SettingMAC:
		return it.Board.MAC, true
	case parsers.SettingIP:
		return it.Board.IP, true
	case parsers.SettingMask:
		return it.Board.Mask, true
	case parsers.SettingGateway:
		return it.Board.Gateway, true
	case parsers.SettingController:
		return it.Controller.HostPort(), true
	case parsers.SettingUnit:
		return strconv.Itoa(it.Controller.Unit), true
	case parsers.SettingPolarity:
		return it.Board.Polarity, true
	case parsers.SettingLeaving:
		return it.Board.Leaving, true
	}
	return "", false
}

// HostPort is where the controller answers, as ADDRESS:PORT; "" when not planned.
func (c Controller) HostPort() string {
	if c.Address == "" {
		return ""
	}
	return netipJoin(c.Address, c.Port)
}

func netipJoin(address string, port int) string {
	if strings.Contains(address, ":") {
		address = "[" + address + "]"
	}
	return address + ":" + strconv.Itoa(port)
}

// sameSetting compares an echo with the plan by meaning, not by print.
func (it Item) sameSetting(name, echoed, planned string) bool {
	if name == parsers.SettingController && !strings.Contains(echoed, ":") {
		planned = it.Controller.Address // the firmware prints no port
	}
	return normalSetting(name, echoed) == normalSetting(name, planned)
}

// normalSetting brings the common prints of a value to one.
func normalSetting(name, value string) string {
	value = strings.ToLower(strings.TrimSpace(value))
	switch name {
	case parsers.SettingMAC:
		return strings.NewReplacer("-", ":", ".", ":").Replace(value)
	case parsers.SettingPolarity:
		return strings.ReplaceAll(value, " ", "-")
	case parsers.SettingIP, parsers.SettingGateway, parsers.SettingMask:
		if a, err := netip.ParseAddr(strings.TrimSuffix(value, ".")); err == nil {
			return a.String()
		}
	case parsers.SettingCoil, parsers.SettingUnit:
		if n, err := strconv.Atoi(value); err == nil {
			return strconv.Itoa(n)
		}
	}
	return value
}

// strings returns a parameter that is a list of texts.
func (s Step) strings(name string) ([]string, error) {
	list, ok := s.Params[name].([]any)
	if !ok {
		return nil, fmt.Errorf("step %q: parameter %q: missing or no list", s.ID, name)
	}
	var texts []string
	for _, v := range list {
		t, ok := v.(string)
		if !ok {
			return nil, fmt.Errorf("step %q: parameter %q: %v is no text", s.ID, name, v)
		}
		texts = append(texts, t)
	}
	return texts, nil
}
