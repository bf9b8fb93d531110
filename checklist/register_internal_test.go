package checklist

import (
	"testing"

	"propwright/parsers"
)

// The register of a site with two props; UIDs are invented.
var registered = Item{Prop: "harbour-bell", Tags: []Tag{
	{UID: "5C0A91E3", Role: RoleShow, Whose: "harbour-bell"},
	{UID: "04B95A2E6F7081", Role: RoleShow, Whose: "harbour-bell"},
	{UID: "5C17D0A9", Role: RoleShow, Whose: "harbour-bell", State: tagLost},
	{UID: "7E310B44", Role: RoleShow, Whose: "chart-table"},
	{UID: "04A1B2C3D4E5F6", Role: RoleMaster, Whose: "Duty-manager"},
}}

// A tag that the register knows as something else is told by what it is; one that it
// does not know is held against nothing but a role that the register has filled.
func TestATagThatDoesNotFitItsRoleIsTold(t *testing.T) {
	for name, tt := range map[string]struct{ role, uid, want string }{
		"the prop's own":          {RoleShow, "5C0A91E3", ""},
		"a further one":           {"show-2", "04B95A2E6F7081", ""},
		"lost":                    {RoleShow, "5C17D0A9", "a tag that is registered as lost"},
		"another prop's":          {RoleShow, "7E310B44", "a tag that is registered as show of chart-table"},
		"the master as a card":    {"show-2", "04A1B2C3D4E5F6", "a tag that is registered as master of Duty-manager"},
		"not registered, show":    {RoleShow, "9B62F00D", "a tag that is not registered as show"},
		"not registered, master":  {RoleMaster, "9B62F00D", "a tag that is not registered as master"},
		"not registered, strange": {RoleStranger, "9B62F00D", ""},
		"own tag as the stranger": {RoleStranger, "5C0A91E3", "a tag that is registered as show of harbour-bell"},
		"the master":              {RoleMaster, "04A1B2C3D4E5F6", ""},
		"a print with two senses": {RoleShow, "9B62F0D", ""},
		"no tag at all":           {RoleShow, "", ""},
	} {
		if got := registered.misfit(tt.role, tt.uid); got != tt.want {
			t.Errorf("%s: misfit(%q, %q) = %q, want %q", name, tt.role, tt.uid, got, tt.want)
		}
	}
	if got := (Item{Prop: "harbour-bell"}).misfit(RoleShow, "9B62F00D"); got != "" {
		t.Errorf("without a register: %q, want nothing", got)
	}
}

func TestTheMastersKeeperIsNamedWhereThereIsOne(t *testing.T) {
	two := append([]Tag{{UID: "3FA0C816", Role: RoleMaster, Whose: "Night-manager"}}, registered.Tags...)
	for _, tt := range []struct {
		item Item
		want string
	}{
		{registered, "Duty-manager"},
		{Item{Tags: two}, "its keeper"},
		{Item{}, "its keeper"},
	} {
		if got := tt.item.Keeper(); got != tt.want {
			t.Errorf("keeper %q, want %q", got, tt.want)
		}
	}
}

// memoryKeeper is a Keeper that keeps nothing.
type memoryKeeper struct{}

func (memoryKeeper) Keep(Entry) error { return nil }
func (memoryKeeper) Sync() error      { return nil }

// A lost card is a key until the list is wiped: that is told, and how sure it is
// follows from whether the board tells its number of cards.
func TestALostCardIsAKeyUntilTheListIsWiped(t *testing.T) {
	for name, tt := range map[string]struct {
		told string // the board's number of cards, "" where it tells none
		item Item
		want Verdict // "" where there is nothing to tell
	}{
		"as many as in use":   {"2", registered, Passed},
		"one too many":        {"3", registered, Failed},
		"the board is silent": {"", registered, NotConfirmed},
		"one not registered":  {"3", Item{Prop: "harbour-bell", Tags: registered.Tags[:2]}, Failed},
		"no register":         {"3", Item{Prop: "harbour-bell"}, ""},
		"none lost":           {"2", Item{Prop: "harbour-bell", Tags: registered.Tags[:2]}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			entries := []Entry{{N: 1, Event: &parsers.Event{Kind: parsers.KindBoot}}}
			if tt.told != "" {
				e := parsers.Event{Kind: parsers.KindSetting}.Holding(map[string]string{"name": parsers.SettingCards, "value": tt.told})
				entries = append(entries, Entry{N: 2, Event: &e})
			}
			s := &Scene{Log: NewLog(nil, memoryKeeper{}, entries), Item: tt.item}
			f, told := s.lostCards(len(tt.item.ownCards()))
			if told != (tt.want != "") || told && f.Verdict != tt.want {
				t.Errorf("told %t, %+v; want %q", told, f, tt.want)
			}
		})
	}
}

func TestOwnCardsAreThoseInUse(t *testing.T) {
	if got := len(registered.ownCards()); got != 2 {
		t.Errorf("%d cards, want the two that are in use", got)
	}
	if got := (Item{Prop: "harbour-bell"}).ownCards(); len(got) != 1 || got[0] != RoleShow {
		t.Errorf("without a register: %v, want one card", got)
	}
}
