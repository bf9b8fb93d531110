package diagnose

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"propwright/checklist"
)

// maxFrameLine bounds a line of a link capture.
const maxFrameLine = 1 << 20

// ReadFrames reads a link capture, JSON Lines as `link watch` and `link tap` print them
// and as a bundle's link.jsonl has them. An error names the line.
func ReadFrames(in io.Reader) ([]checklist.Frame, error) {
	var out []checklist.Frame
	lines := bufio.NewScanner(in)
	lines.Buffer(nil, maxFrameLine)
	for n := 1; lines.Scan(); n++ {
		text := strings.TrimSpace(lines.Text())
		if text == "" {
			continue
		}
		var f checklist.Frame
		if err := json.Unmarshal([]byte(text), &f); err != nil {
			return nil, fmt.Errorf("link capture: line %d: %w", n, err)
		}
		switch f.Kind {
		case checklist.FrameConnected, checklist.FrameRequest, checklist.FrameClosed, checklist.FrameMalformed:
		default:
			return nil, fmt.Errorf("link capture: line %d: field kind: %q: no such kind", n, f.Kind)
		}
		out = append(out, f)
	}
	if err := lines.Err(); err != nil {
		if errors.Is(err, bufio.ErrTooLong) {
			err = fmt.Errorf("a line of more than %d bytes", maxFrameLine)
		}
		return nil, fmt.Errorf("link capture: %w", err)
	}
	return out, nil
}

// Frames is what the controller's side shows. coil is the one that the plan gives to
// the prop, counted as the site does; 0 for not known.
func (k *Knowledge) Frames(frames []checklist.Frame, coil int) []Evidence {
	r := Reading{k: k}
	connects, requests, short := 0, 0, 0
	inConn := map[uint64]int{}
	bad := map[string]int{}
	wrote := map[int]int{}
	for _, f := range frames {
		switch f.Kind {
		case checklist.FrameConnected:
			connects++
		case checklist.FrameRequest:
			requests++
			inConn[f.Conn]++
			if code, ok := strings.CutPrefix(f.Answer, "exception "); ok {
				bad[code]++
			} else if (f.Function == 5 || f.Function == 15) && f.Coil >= 0 {
				wrote[f.Coil]++
			}
		case checklist.FrameClosed:
			if inConn[f.Conn] <= 1 {
				short++
			}
		}
	}
	switch {
	case requests > 0:
		r.count("controller", "connected", nil)
		r.count("link", "up", nil)
	case connects > 0:
		r.count("requests", "time-out", nil)
	default:
		r.count("controller", "never", nil)
	}
	if connects >= 5 && short*5 >= connects*4 {
		r.count("polling", "new-each", nil)
	}
	switch {
	case bad["01"] > 0:
		r.count("exception", "function", nil)
	case bad["02"] > 0 && bad["02"] < requests:
		r.count("exception", "edge", nil)
	case bad["02"] > 0:
		r.count("exception", "address", nil)
	case requests >= 3:
		r.count("exception", "none", nil)
	}
	if coil > 0 && len(wrote) > 0 {
		switch {
		case wrote[coil] > 0:
			r.count("coil", "right", nil)
		case wrote[coil-1]+wrote[coil+1] > 0:
			r.count("coil", "neighbour", nil)
		default:
			r.count("coil", "far", nil)
		}
	}
	for i := range r.found {
		r.found[i].From = FromNetwork
	}
	return Merge(r.found)
}
