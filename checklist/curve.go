package checklist

// A Curve is what a read rate does over the spacing, for a picture beside a finding:
// what was tried, and the curve that was fitted to it with its band.
type Curve struct {
	Trials []CurveTrial `json:"trials"` // by rising spacing
	Line   []CurvePoint `json:"line"`   // by rising spacing; empty where no curve was fitted
	Level  float64      `json:"level"`  // of the band and of the trials' own intervals, 0.95 for 95 %
	// CoverMM is the cover's thickness, nil where there is none to show.
	CoverMM *float64 `json:"cover_mm,omitempty"`
	// Field is what a model says of the coil's field over the same spacings; empty where
	// nothing is known of the coil.
	Field []CurveField `json:"field,omitempty"`
}

// A CurveField is the modelled field on a coil's axis at one spacing, in A/m root mean
// square.
type CurveField struct {
	SpacingMM  float64 `json:"spacing_mm"`
	FieldAPerM float64 `json:"field_a_per_m"`
}

// A CurveTrial is what came of the presentations at one spacing.
type CurveTrial struct {
	SpacingMM float64 `json:"spacing_mm"`
	Presented int     `json:"presented"`
	Read      int     `json:"read"`
	Low       float64 `json:"low"` // interval of the rate at this spacing alone
	High      float64 `json:"high"`
}

// A CurvePoint is the curve at one spacing.
type CurvePoint struct {
	SpacingMM float64 `json:"spacing_mm"`
	Rate      float64 `json:"rate"` // 0 to 1
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
}
