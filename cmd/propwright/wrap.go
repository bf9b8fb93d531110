package main

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// wrapLine breaks one line between words where a terminal of width columns would break
// it within one. What follows hangs below the line's own text: its leading blanks and a
// short mark before the text, such as "??", "!!" or a number, stay free.
func wrapLine(line string, width int) string {
	if utf8.RuneCountInString(line) <= width {
		return line
	}
	start := textStart(line)
	hang := utf8.RuneCountInString(line[:start])
	var b strings.Builder
	b.WriteString(line[:start])
	at := hang
	for i, word := range strings.Split(line[start:], " ") {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case at+1+n > width:
			b.WriteString("\n" + strings.Repeat(" ", hang))
			at = hang
		default:
			b.WriteByte(' ')
			at++
		}
		b.WriteString(word)
		at += n
	}
	return b.String()
}

// wrapLines wraps each line of a text.
func wrapLines(text string, width int) string {
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		lines[i] = wrapLine(line, width)
	}
	return strings.Join(lines, "\n")
}

// textStart is how many bytes of a line come before its text.
func textStart(line string) int {
	const longestMark = 2
	text := strings.TrimLeft(line, " ")
	mark, rest, more := strings.Cut(text, " ")
	if more && utf8.RuneCountInString(mark) <= longestMark && !strings.ContainsFunc(mark, unicode.IsLetter) {
		text = strings.TrimLeft(rest, " ")
	}
	return len(line) - len(text)
}
