package checklist

// A TimeLine is what a board's console and its controller told of the same tags, for a
// picture beside a finding. All times are milliseconds from the first byte of the
// console's word of the tag; a write that overtook that word is below zero.
type TimeLine struct {
	Showings []TimeLineShowing `json:"showings"` // in the order in which they were
	LimitMS  int               `json:"limit_ms"` // of the delay until the coil is written; 0 without one
}

// A TimeLineShowing is one tag. What was not seen is nil.
type TimeLineShowing struct {
	Coil    int  `json:"coil"`              // that was written, -1 for none
	OnMS    *int `json:"on_ms,omitempty"`   // the coil was written
	LeftMS  *int `json:"left_ms,omitempty"` // the console's word of the tag's leaving
	OffMS   *int `json:"off_ms,omitempty"`  // the coil was written back
	OffByMS int  `json:"off_by_ms"`         // how far off the first may be
}
