package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"

	"propwright/checklist/plan"
	"propwright/checklist/report"
	"propwright/parsers"
)

// A shownTag is a tag as it may be shown: with a fingerprint, and its UID only
// where that was asked for.
type shownTag struct {
	Name        string `json:"name"`
	Fingerprint string `json:"fingerprint"`
	UID         string `json:"uid,omitempty"`
	Role        string `json:"role"`
	Prop        string `json:"prop,omitempty"`
	Keeper      string `json:"keeper,omitempty"`
	Form        string `json:"form,omitempty"`
	State       string `json:"state"`
}

func shownTags(tags []plan.Tag, key []byte, full bool) []shownTag {
	var shown []shownTag
	for _, t := range tags {
		s := shownTag{
			Name: t.Name, Fingerprint: report.Fingerprint(key, t.UID.String()),
			Role: t.Role, Prop: t.Prop, Keeper: t.Keeper, Form: t.Form, State: t.State,
		}
		if full {
			s.UID = t.UID.String()
		}
		shown = append(shown, s)
	}
	return shown
}

// printPlanTables prints a table a kind, each under its name when all are shown.
func printPlanTables(w io.Writer, which string, p plan.Plan, tags []shownTag) error {
	tables := []struct {
		name string
		rows [][]string
	}{
		{"controllers", controllerRows(p)},
		{"boards", boardRows(p)},
		{"readers", readerRows(p)},
		{"props", propRows(p)},
		{"tags", tagRows(tags)},
	}
	if which == "" {
		if _, err := fmt.Fprintf(w, "site  %s\n", parsers.Printable(p.Site.Name)); err != nil {
			return err
		}
	}
	for _, t := range tables {
		if which != "" && which != t.name {
			continue
		}
		if which == "" {
			if _, err := fmt.Fprintf(w, "\n%s\n", t.name); err != nil {
				return err
			}
		}
		if err := printRows(w, t.rows); err != nil {
			return err
		}
	}
	return nil
}

// printRows prints rows, the first of which is the heads. Cells are made harmless
// here, and a cell without text shows a dash.
func printRows(w io.Writer, rows [][]string) error {
	if len(rows) == 1 {
		_, err := fmt.Fprintln(w, "(none)")
		return err
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, c := range row {
			cells[i] = parsers.Printable(c)
			if c == "" {
				cells[i] = "-"
			}
		}
		if _, err := fmt.Fprintln(t, strings.Join(cells, "\t")); err != nil {
			return err
		}
	}
	return t.Flush()
}

func controllerRows(p plan.Plan) [][]string {
	rows := [][]string{{"NAME", "ADDRESS", "UNIT", "BASE", "NETWORK", "CARD"}}
	for _, c := range p.Controllers {
		rows = append(rows, []string{c.Name, c.HostPort(), strconv.Itoa(c.Unit), strconv.Itoa(c.Base), c.Network, c.Card})
	}
	return rows
}

func boardRows(p plan.Plan) [][]string {
	rows := [][]string{{"NAME", "MAC", "IP", "GATEWAY", "CONTROLLER", "SPEED", "POLARITY", "LEAVING", "LAMPS", "SUPPLY", "FIRMWARE"}}
	for _, b := range p.Boards {
		var mac, ip, gateway string
		if !b.MAC.IsZero() {
			mac = b.MAC.String()
		}
		if b.IP.IsValid() {
			ip = b.IP.String()
		}
		if b.Gateway.IsValid() {
			gateway = b.Gateway.String()
		}
		rows = append(rows, []string{b.Name, mac, ip, gateway, b.Controller, strconv.Itoa(b.Speed), b.Polarity, b.Leaving,
			strings.Join(b.Lamps, ","), strconv.FormatFloat(b.SupplyV, 'f', -1, 64) + " V", b.Firmware})
	}
	return rows
}

func readerRows(p plan.Plan) [][]string {
	rows := [][]string{{"READER", "COIL", "CONTROLLER", "BEHAVIOUR", "AT BOOT"}}
	for _, r := range p.Readers {
		b, _ := p.Board(r.Board)
		rows = append(rows, []string{r.Name(), strconv.Itoa(r.Coil), b.Controller, r.Behaviour, r.AtBoot})
	}
	return rows
}

func propRows(p plan.Plan) [][]string {
	rows := [][]string{{"NAME", "ROOM", "PLACE", "BOARD", "DRIVES", "COVER", "OF"}}
	for _, q := range p.Props {
		rows = append(rows, []string{q.Name, q.Room, q.Place, q.Board, q.Drives, strconv.FormatFloat(q.CoverMM, 'f', -1, 64) + " mm", q.Cover})
	}
	return rows
}

func tagRows(tags []shownTag) [][]string {
	rows := [][]string{{"NAME", "TAG", "ROLE", "WHOSE", "FORM", "STATE"}}
	for _, t := range tags {
		tag := t.Fingerprint
		if t.UID != "" {
			tag = t.UID
		}
		rows = append(rows, []string{t.Name, tag, t.Role, t.Prop + t.Keeper, t.Form, t.State})
	}
	return rows
}
