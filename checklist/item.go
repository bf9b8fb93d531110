package checklist

// An Item is a board at a prop, as the site plans it: everything that steps hold
// the board against. It is plain data, so that a run records what it was judged by.
type Item struct {
	Site       string     `json:"site"`
	Prop       string     `json:"prop"`
	Room       string     `json:"room"`
	Place      string     `json:"place,omitempty"`
	Drives     string     `json:"drives"` // light, effect, door, motion
	CoverMM    float64    `json:"cover_mm"`
	Board      BoardPlan  `json:"board"`
	Readers    []Reader   `json:"readers"`
	Controller Controller `json:"controller"`
	// Taken lists what other things of the site own, so that a wrong value can be
	// named by whose it is.
	Taken []Claim `json:"taken,omitempty"`
	// Tags are the registered tags; a run learns the others by their roles.
	Tags []Tag `json:"tags,omitempty"`
	// Replaces is the asset of the board that a spare takes the place of.
	Replaces string `json:"replaces,omitempty"`
}

// A BoardPlan is what a board was built with. Empty fields are not planned and
// so not checked.
type BoardPlan struct {
	Asset    string   `json:"asset"`
	MAC      string   `json:"mac"`
	IP       string   `json:"ip"`
	Mask     string   `json:"mask,omitempty"`
	Gateway  string   `json:"gateway,omitempty"`
	Firmware string   `json:"firmware,omitempty"`
	Speed    int      `json:"speed"`              // of the console, baud
	Polarity string   `json:"polarity,omitempty"` // active-high or active-low
	Leaving  string   `json:"leaving,omitempty"`  // reported or silent
	Lamps    []string `json:"lamps,omitempty"`    // what each lamp is, from left to right
	SupplyV  float64  `json:"supply_v"`           // of the adapter, volts
	Lists    string   `json:"lists,omitempty"`    // ListsBoard, or ListsReader; "" is ListsBoard
}

// Where a board keeps its master and its list of cards.
const (
	ListsBoard  = "board"  // one for all its readers
	ListsReader = "reader" // one for each reader
)

// A Reader is one reader of the board.
type Reader struct {
	Index     int    `json:"index"`
	Coil      int    `json:"coil"`      // as the site counts, from the controller's base
	Behaviour string `json:"behaviour"` // follows, pulse, toggle
	// What the site plans for the coil beyond that; "" is not planned and so not tried.
	AtBoot     string `json:"at_boot,omitempty"`     // on or off: at boot with a tag lying there
	WhenDead   string `json:"when_dead,omitempty"`   // stays or off: when the board dies with the coil on
	AfterReset string `json:"after_reset,omitempty"` // keeps or off: a toggled coil when the board restarts
}

// What the plan may say of a coil beyond its behaviour; a step can be there for it.
const (
	PlannedAtBoot     = "at_boot"
	PlannedWhenDead   = "when_dead"
	PlannedAfterReset = "after_reset"
)

// Planned is what the plan says of the coil under one of those names, "" where it
// says nothing.
func (r Reader) Planned(name string) string {
	return map[string]string{PlannedAtBoot: r.AtBoot, PlannedWhenDead: r.WhenDead, PlannedAfterReset: r.AfterReset}[name]
}

// A Controller is where coils live.
type Controller struct {
	Name    string `json:"name"`
	Address string `json:"address"`
	Port    int    `json:"port"`
	Unit    int    `json:"unit"`
	Base    int    `json:"base"` // number of the first coil: 0 or 1
}

// A Claim is a value that another thing of the site owns.
type Claim struct {
	Setting string `json:"setting"` // one of parsers.Setting…
	Value   string `json:"value"`
	Owner   string `json:"owner"` // the prop or board
}

// A Tag is a registered tag.
type Tag struct {
	UID   string `json:"uid"`
	Role  string `json:"role"`
	Whose string `json:"whose,omitempty"` // the prop, or the keeper of a master
	Form  string `json:"form,omitempty"`  // card, fob, sticker
	State string `json:"state,omitempty"` // in use, lost, retired
}

// Owner returns who owns the value of a setting, "" when nobody does.
func (it Item) Owner(setting, value string) string {
	for _, c := range it.Taken {
		if c.Setting == setting && c.Value == value {
			return c.Owner
		}
	}
	return ""
}
