package main

import (
	"strconv"
	"strings"

	"propwright/checklist"
)

// farWidth and farHeight are the smallest terminal that large text has to fit.
const (
	farWidth  = 80
	farHeight = 24
)

// wordOf is the one word that is read from afar for an act.
func wordOf(a checklist.Act) string {
	return map[checklist.Act]string{
		checklist.ActPresent: "SHOW", checklist.ActPlace: "LAY", checklist.ActTake: "LIFT", checklist.ActReset: "RESET",
		checklist.ActFlex: "BEND", checklist.ActRelax: "LET GO", checklist.ActCableOut: "CABLE OUT", checklist.ActCableIn: "CABLE IN",
		checklist.ActSupplyOn: "POWER ON", checklist.ActSupplyOff: "POWER OFF", checklist.ActRoomOn: "ROOM ON", checklist.ActRoomOff: "ROOM OFF", checklist.ActUSBOut: "USB OUT", checklist.ActUSBIn: "USB IN",
		checklist.ActClear: "CLEAR", checklist.ActLook: "LOOK", checklist.ActNext: "NEXT",
	}[a]
}

// figureFar is the one figure of an instruction: its own, else its spacing.
func figureFar(in checklist.Instruction) string {
	switch {
	case in.Figure != "":
		return in.Figure
	case in.SpacingMM > 0:
		return strconv.FormatFloat(in.SpacingMM, 'f', -1, 64) + " MM"
	}
	return ""
}

// large prints a word and a figure in block letters, each in lines of its own,
// twice as wide where that fits. Letters that there are no blocks for are left out.
func large(word, figure string) string {
	var b strings.Builder
	for _, text := range []string{word, figure} {
		if text != "" {
			b.WriteString("\n" + blockLines(text))
		}
	}
	return b.String()
}

// blockLines are the rows of a text in block letters.
func blockLines(text string) string {
	var letters [][]string
	width := 0
	for _, r := range strings.ToUpper(text) {
		if g, known := glyphs()[r]; known {
			letters = append(letters, strings.Split(g, "/"))
			width += glyphWidth + 1
		}
	}
	wide := 1
	if 2*width <= farWidth {
		wide = 2
	}
	letters = letters[:min(len(letters), farWidth/(wide*(glyphWidth+1)))]
	var b strings.Builder
	for row := range glyphHeight {
		var line strings.Builder
		for _, l := range letters {
			for _, c := range l[row] + "." {
				ink := " "
				if c == '#' {
					ink = "█"
				}
				line.WriteString(strings.Repeat(ink, wide))
			}
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
	return b.String()
}
