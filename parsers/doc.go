// Package parsers turns a board's console text into typed events.
//
// Bytes go in with their arrival times; lines are split off, bounded and matched
// against wording profiles, which are data; what belongs together is assembled;
// events come out whose Raw and End, in order, give the bytes back exactly.
// The package also knows what a tag's identity and a reader chip's version mean,
// and reads and writes captures as streams.
//
// # Wording profiles
//
// A profile is TOML: name, about, prefix (texts that may stand before any line,
// such as a monitor's time stamp) and [[line]] tables with
//
//	kind    what the line states, one of Kinds but the computer's own
//	says    the text, or several, with placeholders {name:type}
//	next    what the following line says, where two belong together
//	fields  fields that are always the same, such as name = "coil" of a setting
//	values  closed lists: [line.values.NAME] text = "value"; {NAME} has no type then
//	uid     how the UID is printed where the print leaves it open (a UIDForm), or
//	        "before": it is that of the tag named in one of the last lines
//	id      a name for before
//	before  the text or id of lines that this one goes before where both match
//
// Types are uid, pairs (a uid of values apart), hex8, dec, ip, mac, word, stem (the
// rest of a word's letters, or none), clock and rest. {uid} needs no type, {reader:dec}
// is the reader's index, {_:type} is not kept, {{ and }} are the signs themselves.
// Letters match in either case and blanks in any number.
//
// It opens nothing, reads no clock and knows no step of the checklist. It stands
// between serialmon, which delivers the bytes, and checklist, which reads events.
package parsers
