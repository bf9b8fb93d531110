package report

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"propwright/checklist"
	"propwright/parsers"
)

// leastKey is the least length of the fingerprint key in bytes. A tag of four
// bytes has few enough values to try them all against a key that is short.
const leastKey = 16

// Inputs are what a report needs besides the log and the procedure.
type Inputs struct {
	Signer      Signer // Key is filled in by Write
	Sitting     checklist.Sitting
	Issued      time.Time
	Fingerprint []byte // the site's key for tag fingerprints, at least 16 bytes
	Limitations []string
	// The following are Write's to fill in.
	Program  string // "" takes the run's
	DemoKey  bool
	Issue    int // 0 is 1
	Replaces string
	Earlier  []Sitting // with their signatures, from reports signed before
	Files    []File
	Console  Console
}

// Build makes a report of the run that the entries hold, by the steps of its
// procedure in their order. It fails when the log does not begin with a run
// header or an input is missing; a failed or broken-off run is no error.
func Build(entries []checklist.Entry, plan []checklist.Step, in Inputs) (Model, error) {
	run, err := header(entries)
	if err != nil {
		return Model{}, err
	}
	if err := in.check(); err != nil {
		return Model{}, err
	}
	f := fold(entries, plan)
	item := run.Item
	m := Model{
		Format: Format, Title: "Commissioning report", Number: run.Number,
		Issue: max(in.Issue, 1), Replaces: in.Replaces, Issued: utc(in.Issued), Before: priors(run.Before),
		Program: in.Program, Computer: run.Computer,
		Site: item.Site, Prop: item.Prop, Room: item.Room, Place: item.Place, Drives: item.Drives,
		Board:     Board{Asset: item.Board.Asset, MAC: item.Board.MAC, IP: item.Board.IP, Firmware: firmware(entries)},
		Procedure: Procedure{Name: run.Procedure, Digest: run.Digest},
		Clock:     Clock{Basis: run.Clock, Pace: run.Pace},
		Virtual:   run.Virtual, DemoKey: in.DemoKey, Sitting: in.Sitting,
		Verdict: worst(f.Sittings), Complete: len(f.Open) == 0,
		Sittings: f.Sittings, Steps: f.Steps, Open: f.Open, Item: item,
		Tags: tags(entries, item, in.Fingerprint), Gaps: f.Gaps, Notes: f.Notes, Stories: f.Stories,
		Cautions: cautions(f.Steps, f.Open), Statements: statements(), Exits: Exits,
		Console: in.Console, Entries: len(entries), Files: list(in.Files), Signer: in.Signer,
	}
	if m.Program == "" {
		m.Program = run.Program
	}
	m.sign(in)
	m.Limitations = limitations(m, in.Limitations)
	return m, nil
}

// sign puts the signatures to the sittings.
func (m *Model) sign(in Inputs) {
	for i, s := range m.Sittings {
		if s.Sitting == in.Sitting {
			m.Sittings[i].Signed = &Signature{Signer: in.Signer, At: m.Issued}
			continue
		}
		for _, e := range in.Earlier {
			if e.Sitting == s.Sitting {
				m.Sittings[i].Signed = e.Signed
			}
		}
	}
}

func (in Inputs) check() error {
	switch {
	case in.Sitting != checklist.Bench && in.Sitting != checklist.Site:
		return fmt.Errorf("report: sitting %q: neither bench nor site", in.Sitting)
	case in.Issued.IsZero():
		return errors.New("report: time of issue: missing")
	case in.Signer.Name == "":
		return errors.New("report: signer: no name")
	case len(in.Fingerprint) < leastKey:
		return fmt.Errorf("report: fingerprint key: %d bytes, must be %d or more", len(in.Fingerprint), leastKey)
	}
	return checkPrincipal(in.Signer.Principal)
}

// header returns the run's conditions: its first header, virtual if any of the
// processes that took it up saw a virtual board, and on the least real clock.
func header(entries []checklist.Entry) (checklist.RunHeader, error) {
	var run *checklist.RunHeader
	for _, e := range entries {
		if e.Run == nil {
			continue
		}
		if run == nil {
			first := *e.Run
			run = &first
		}
		run.Virtual = run.Virtual || e.Run.Virtual
		run.Program = e.Run.Program
		if run.Clock == "real" {
			run.Clock, run.Pace = e.Run.Clock, e.Run.Pace
		}
	}
	if run == nil {
		return checklist.RunHeader{}, errors.New("report: run log: no run header")
	}
	return *run, nil
}

// firmware is what the board last said it runs.
func firmware(entries []checklist.Entry) string {
	b := checklist.NewBelief()
	for _, e := range entries {
		b.Fold(e)
	}
	return b.Firmware.Value
}

// tags are all that the run met or the plan names: planned ones first, then
// those with a role, then those only seen, each by UID.
func tags(entries []checklist.Entry, item checklist.Item, key []byte) []Tag {
	b := checklist.NewBelief()
	seen := map[string]bool{}
	for _, e := range entries {
		b.Fold(e)
		if e.Event == nil {
			continue
		}
		if u := e.Event.UID(); u != nil {
			seen[u.String()] = true
		}
		if e.Event.Kind == parsers.KindSetting && e.Event.Field("name") == parsers.SettingMaster {
			if uid, err := parsers.ParseUID(e.Event.Field("value")); err == nil {
				seen[uid.String()] = true
			}
		}
	}
	out, known := []Tag{}, map[string]bool{}
	add := func(uid, role, whose string) {
		if uid == "" || known[uid] {
			return
		}
		known[uid] = true
		if r := b.RoleOf(uid); r != "" {
			role = r
		}
		out = append(out, Tag{UID: uid, Fingerprint: Fingerprint(key, uid), Role: role, Whose: whose})
	}
	for _, t := range item.Tags {
		add(t.UID, t.Role, t.Whose)
	}
	for _, role := range slices.Sorted(maps.Keys(b.Roles)) {
		add(b.Roles[role], role, "")
	}
	for _, uid := range slices.Sorted(maps.Keys(seen)) {
		add(uid, "", "")
	}
	return out
}

// Fingerprint is what is shown of a tag in place of its UID: the first four
// bytes, in hex, of HMAC-SHA-256 (RFC 2104) over the UID's text under the site's
// key.
func Fingerprint(key []byte, uid string) string {
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(uid))
	return hex.EncodeToString(mac.Sum(nil)[:4])
}
