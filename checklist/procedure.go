package checklist

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"propwright/parsers"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
)

//go:embed procedures/*.toml
var procedureFiles embed.FS

// The procedures that come with the tool.
const (
	ProcedureNew     = "new"     // a fresh or wiped board
	ProcedureRecheck = "recheck" // a prop in service, due again: changes nothing stored
	ProcedureSwap    = "swap"    // a spare in place of a failed board, in minutes
)

// BuiltinProcedures are their names.
func BuiltinProcedures() []string { return []string{ProcedureNew, ProcedureRecheck, ProcedureSwap} }

// A Procedure is the order of steps for one purpose. It is data: the built-in
// ones are files under procedures, a site may bring its own.
type Procedure struct {
	Name   string `toml:"name"`
	For    string `toml:"for"`
	Steps  []Step `toml:"step"`
	Text   []byte `toml:"-"` // the file as it was read
	Digest string `toml:"-"` // "sha256:…" of Text
	File   string `toml:"-"` // where it came from, for messages
}

// BuiltinProcedure returns a procedure that comes with the tool.
func BuiltinProcedure(name string) (Procedure, error) {
	if !slices.Contains(BuiltinProcedures(), name) {
		return Procedure{}, fmt.Errorf("procedure %q: not known, there are: %s", name, strings.Join(BuiltinProcedures(), ", "))
	}
	text, err := procedureFiles.ReadFile("procedures/" + name + ".toml")
	if err != nil {
		return Procedure{}, fmt.Errorf("procedure %q: %w", name, err)
	}
	return ParseProcedure("built in", text)
}

// ParseProcedure reads a procedure. Errors name the file, the step and the field.
func ParseProcedure(file string, text []byte) (Procedure, error) {
	p := Procedure{Text: text, File: file}
	meta, err := toml.NewDecoder(bytes.NewReader(text)).Decode(&p)
	if err != nil {
		return Procedure{}, fmt.Errorf("procedure %w", parsers.BrokenTOML(file, err))
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return Procedure{}, fmt.Errorf("procedure %s: field %q: not known", file, unknown[0].String())
	}
	if p.Name == "" {
		return Procedure{}, fmt.Errorf("procedure %s: field name: missing", file)
	}
	if err := p.check(); err != nil {
		return Procedure{}, fmt.Errorf("procedure %s: %w", file, err)
	}
	sum := sha256.Sum256(text)
	p.Digest = "sha256:" + hex.EncodeToString(sum[:])
	return p, nil
}

func (p Procedure) check() error {
	if len(p.Steps) == 0 {
		return errors.New("no step")
	}
	type place struct {
		sitting Sitting
		id      string
	}
	seen := map[place]bool{}
	staged := map[Sitting]bool{}
	for i, s := range p.Steps {
		if was, told := staged[s.Sitting]; told && was != (s.Stage != "") {
			return fmt.Errorf("step %q: field stage: every step of sitting %s has one, or none has", s.ID, s.Sitting)
		}
		staged[s.Sitting] = s.Stage != ""
		switch {
		case s.ID == "":
			return fmt.Errorf("step %d: field id: missing", i+1)
		case s.EachReader != "" && s.EachReader != EachAlways && s.EachReader != EachLists:
			return fmt.Errorf("step %q: field each_reader: %q is neither %q nor %q", s.ID, s.EachReader, EachAlways, EachLists)
		case s.Planned != "" && (s.EachReader != EachAlways || !slices.Contains([]string{PlannedAtBoot, PlannedWhenDead, PlannedAfterReset}, s.Planned)):
			return fmt.Errorf("step %q: field planned: %q is none of %s, %s and %s for each reader", s.ID, s.Planned, PlannedAtBoot, PlannedWhenDead, PlannedAfterReset)
		case s.Check == "":
			return fmt.Errorf("step %q: field check: missing", s.ID)
		case s.Sitting != Bench && s.Sitting != Site:
			return fmt.Errorf("step %q: field sitting: %q is neither bench nor site", s.ID, s.Sitting)
		case seen[place{s.Sitting, s.ID}]:
			return fmt.Errorf("step %q: twice in sitting %s", s.ID, s.Sitting)
		}
		for _, need := range s.Needs {
			if !seen[place{s.Sitting, need}] {
				return fmt.Errorf("step %q: field needs: %q is no earlier step of sitting %s", s.ID, need, s.Sitting)
			}
		}
		for _, base := range s.RestsOn {
			if !slices.Contains(ChangeNames(), base) {
				return fmt.Errorf("step %q: field rests_on: %q is none of %v", s.ID, base, ChangeNames())
			}
		}
		seen[place{s.Sitting, s.ID}] = true
	}
	return nil
}

// Of is the procedure as it is walked for an item: steps that are each reader's own
// stand there once for each, one after the other, and steps for boards of several
// readers are left out for a board that has one. It is to be called once.
func (p Procedure) Of(it Item) Procedure {
	var steps []Step
	for _, s := range p.Steps {
		if s.Several && len(it.Readers) < 2 || s.Planned != "" && len(it.Readers) == 0 {
			continue
		}
		own := s.EachReader == EachAlways || s.EachReader == EachLists && it.Board.Lists == ListsReader
		if !own || len(it.Readers) == 0 {
			s.EachReader = ""
			steps = append(steps, s)
			continue
		}
		for _, r := range it.Readers {
			if s.Planned != "" && r.Planned(s.Planned) == "" {
				continue
			}
			one := s
			one.Reader = r.Index
			if len(it.Readers) > 1 {
				one.Title = fmt.Sprintf("%s, reader %d", s.Title, r.Index)
			}
			steps = append(steps, one)
		}
	}
	p.Steps = steps
	return p
}

// Stages are the parts of a sitting in the order in which the procedure comes to
// them; one without a name where its steps have none.
func (p Procedure) Stages(sitting Sitting) []string {
	var stages []string
	for _, s := range p.Sitting(sitting) {
		if !slices.Contains(stages, s.Stage) {
			stages = append(stages, s.Stage)
		}
	}
	return stages
}

// Sittings are those that the procedure has steps for, in their order.
func (p Procedure) Sittings() []Sitting {
	var held []Sitting
	for _, sitting := range []Sitting{Bench, Site} {
		if len(p.Sitting(sitting)) > 0 {
			held = append(held, sitting)
		}
	}
	return held
}

// Sitting returns the steps of one sitting in their order.
func (p Procedure) Sitting(sitting Sitting) []Step {
	var steps []Step
	for _, s := range p.Steps {
		if s.Sitting == sitting {
			steps = append(steps, s)
		}
	}
	return steps
}

// HasStep reports whether any sitting has a step of that id.
func (p Procedure) HasStep(id string) bool {
	return slices.ContainsFunc(p.Steps, func(s Step) bool { return s.ID == id })
}

// ChangeNames are the things that evidence can rest on; lists are the master and
// the cards that the board stores.
func ChangeNames() []string {
	return []string{"settings", "soldering", "leads", "tag", "object", "cover", "board", "lists", "network", "supply"}
}
