package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"propwright/checklist"
	"propwright/checklist/link"
	"propwright/parsers"
)

// A frameView is a frame as link prints it as JSON; the first keys are the command
// contract's.
type frameView struct {
	At       time.Time           `json:"at"`
	Peer     string              `json:"peer"`
	Unit     int                 `json:"unit"`
	Function int                 `json:"function"`
	Address  int                 `json:"address"` // -1 where none is meant
	Coil     int                 `json:"coil"`    // -1 where none is meant
	Values   []int               `json:"values"`
	Answer   string              `json:"answer"` // "" where there is none
	Kind     checklist.FrameKind `json:"kind"`
	Conn     uint64              `json:"conn"`
	First    time.Time           `json:"first,omitzero"`
	Answered time.Time           `json:"answered,omitzero"`
	Request  string              `json:"request,omitempty"`
	Reply    string              `json:"reply,omitempty"`
	Why      string              `json:"why,omitempty"`
}

// maxUnshown is how many frames may wait to be written: whoever reads our output must
// not hold up what passes between a board and its controller.
const maxUnshown = 1 << 16

// A framePrinter writes frames as they pass, a line each, from a goroutine of its own.
// print is safe for concurrent use and waits for nobody.
type framePrinter struct {
	out    io.Writer
	asJSON bool
	frames chan checklist.Frame
	missed atomic.Uint64
	gone   chan struct{} // closed once nobody reads the output
	done   chan struct{}
}

// printFrames starts a printer.
func printFrames(out io.Writer, asJSON bool) *framePrinter {
	p := &framePrinter{out: out, asJSON: asJSON, frames: make(chan checklist.Frame, maxUnshown), gone: make(chan struct{}), done: make(chan struct{})}
	go p.run()
	return p
}

func (p *framePrinter) print(f checklist.Frame) error {
	select {
	case p.frames <- f:
	default:
		p.missed.Add(1)
	}
	return nil
}

// lastWords is how long whoever reads the output may take for what is left at the end.
const lastWords = 2 * time.Second

// close writes what waits; nothing may be printed after.
func (p *framePrinter) close() {
	close(p.frames)
	select {
	case <-p.done:
	case <-time.After(lastWords): // an output that nobody reads must not keep the program
	}
}

func (p *framePrinter) run() {
	defer close(p.done)
	var line []byte
	for f := range p.frames {
		line = append(p.appendTo(line[:0], f), '\n')
		if _, err := p.out.Write(line); err != nil {
			close(p.gone)
			for range p.frames { // nobody reads: what comes still is let go
			}
			return
		}
	}
}

func (p *framePrinter) appendTo(line []byte, f checklist.Frame) []byte {
	if !p.asJSON {
		return append(line, frameLine(f)...)
	}
	text, err := json.Marshal(frameView{
		At: f.At.UTC(), Peer: f.Peer, Unit: f.Unit, Function: f.Function, Address: f.Address, Coil: f.Coil, Values: list(f.Values), Answer: f.Answer,
		Kind: f.Kind, Conn: f.Conn, First: f.First, Answered: f.Answered, Request: f.Request, Reply: f.Reply, Why: link.Explain(f),
	})
	if err != nil {
		panic(err) // numbers, texts and times always have a JSON form
	}
	return append(line, text...)
}

// frameLine is a frame for people: when, who, what, the answer and how long it took,
// and what is odd about it.
func frameLine(f checklist.Frame) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s  #%-3d %-21s ", f.At.Local().Format(time.TimeOnly+".000"), f.Conn, parsers.Printable(f.Peer))
	why := link.Explain(f)
	if f.Kind != checklist.FrameRequest {
		b.WriteString(string(f.Kind))
		if f.Request != "" {
			b.WriteString(" " + f.Request)
		}
	} else {
		b.WriteString(requestText(f))
		if f.Answer != "" {
			fmt.Fprintf(&b, "  %s", f.Answer)
		}
		if !f.Answered.IsZero() {
			fmt.Fprintf(&b, " after %.1f ms", float64(f.Answered.Sub(f.At).Microseconds())/1000)
		}
	}
	if why != "" {
		b.WriteString("  (" + parsers.Printable(why) + ")")
	}
	return b.String()
}

// requestText says what a request asks for.
func requestText(f checklist.Frame) string {
	what := link.FunctionName(f.Function)
	if f.Coil >= 0 {
		what = fmt.Sprintf("coil %d %s", f.Coil, map[int]string{1: "read", 5: "write", 15: "write"}[f.Function])
		switch {
		case f.Function == 1:
		case len(f.Values) == 1:
			what = fmt.Sprintf("coil %d %s", f.Coil, onOff(f.Values[0]))
		case len(f.Values) > 1:
			var values []string
			for _, v := range f.Values[:min(len(f.Values), 16)] {
				values = append(values, strconv.Itoa(v))
			}
			what = fmt.Sprintf("coils %d to %d %s", f.Coil, f.Coil+len(f.Values)-1, strings.Join(values, " "))
		}
	}
	if f.Address >= 0 {
		return fmt.Sprintf("%-18s unit %d, function %02X, address %d", what, f.Unit, f.Function, f.Address)
	}
	return fmt.Sprintf("%-18s unit %d, function %02X", what, f.Unit, f.Function)
}

func onOff(v int) string {
	if v == 1 {
		return "on"
	}
	return "off"
}
