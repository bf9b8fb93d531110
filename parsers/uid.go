package parsers

// UID is a tag's unique identifier.
type UID struct{ text string }

// String is the UID as joined upper-case hex.
func (u UID) String() string { return u.text }
