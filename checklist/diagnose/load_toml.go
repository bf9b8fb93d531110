package diagnose

// The tables of a knowledge file as they stand in it; knowledge/README.md is the
// guide to them.

type fileTOML struct {
	Model   *modelTOML          `toml:"model"`
	Words   map[string][]string `toml:"words"`
	Cause   []causeTOML         `toml:"cause"`
	Finding []findingTOML       `toml:"finding"`
	Test    []testTOML          `toml:"test"`
	Step    []stepTOML          `toml:"step"`
}

type stepTOML struct {
	ID      string `toml:"id"`
	Words   string `toml:"words"`
	Finding string `toml:"finding"`
	Value   string `toml:"value"`
}

type modelTOML struct {
	NothingWrong float64  `toml:"nothing_wrong"`
	Pairs        float64  `toml:"pairs"`
	Slip         float64  `toml:"slip"`
	Unfamiliar   float64  `toml:"unfamiliar"`
	Open         float64  `toml:"open"`
	Check        float64  `toml:"check"`
	Basis        []string `toml:"basis"`
}

type causeTOML struct {
	ID      string   `toml:"id"`
	Title   string   `toml:"title"`
	Area    string   `toml:"area"`
	Meaning string   `toml:"meaning"`
	Words   string   `toml:"words"`
	Prior   float64  `toml:"prior"`
	Basis   []string `toml:"basis"`
	Remedy  string   `toml:"remedy"`
	Caution string   `toml:"caution"`
	Part    string   `toml:"part"`
	Tools   []string `toml:"tools"`
	Minutes float64  `toml:"minutes"`
}

type findingTOML struct {
	ID     string      `toml:"id"`
	About  string      `toml:"about"`
	Action bool        `toml:"action"`
	Slip   *float64    `toml:"slip"`
	Basis  []string    `toml:"basis"`
	Asks   []string    `toml:"asks"`
	Values []valueTOML `toml:"values"`
	Under  []underTOML `toml:"under"`
}

type valueTOML struct {
	ID    string   `toml:"id"`
	Leak  float64  `toml:"leak"`
	Tell  string   `toml:"tell"`
	Says  []string `toml:"says"`
	Shows []string `toml:"shows"`
}

type underTOML struct {
	Causes []string           `toml:"causes"`
	Areas  []string           `toml:"areas"`
	P      map[string]float64 `toml:"p"`
	Basis  []string           `toml:"basis"`
}

type testTOML struct {
	ID       string   `toml:"id"`
	Finding  string   `toml:"finding"`
	Ask      string   `toml:"ask"`
	Minutes  float64  `toml:"minutes"`
	Tools    []string `toml:"tools"`
	Opens    bool     `toml:"opens"`
	Console  bool     `toml:"console"`
	Destroys []string `toml:"destroys"`
	Masks    string   `toml:"masks"`
	Needs    []string `toml:"needs"`
	Moot     []string `toml:"moot"`
	Why      string   `toml:"why"`
	Caution  string   `toml:"caution"`
	Says     []string `toml:"says"`
	Script   string   `toml:"script"`
}
