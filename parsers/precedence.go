package parsers

import (
	"errors"
	"fmt"
	"maps"
	"slices"
)

// precedence resolves what lines say of each other, transitively.
func (l *profileLoader) precedence(p *Profile) error {
	named := map[string][]int{}
	for i, line := range p.lines {
		if line.id != "" {
			named[line.id] = append(named[line.id], i)
		}
		for _, pat := range line.patterns {
			if !slices.Contains(named[pat.says], i) {
				named[pat.says] = append(named[pat.says], i)
			}
		}
	}
	for i, line := range p.lines {
		for _, name := range line.before {
			others, ok := named[name]
			if !ok {
				return l.at(l.lineNumber(i, "before"), "before", fmt.Errorf("%q: no line says that or has it as id", clip(name)))
			}
			for _, j := range others {
				line.wins[j] = true
			}
		}
	}
	for changed := true; changed; {
		changed = false
		for _, line := range p.lines {
			for j := range maps.Clone(line.wins) {
				for k := range p.lines[j].wins {
					if !line.wins[k] {
						line.wins[k], changed = true, true
					}
				}
			}
		}
	}
	for i, line := range p.lines {
		if line.wins[i] {
			return l.at(l.lineNumber(i, "before"), "before", errors.New("goes before itself"))
		}
	}
	return nil
}
