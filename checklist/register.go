package checklist

import (
	"cmp"
	"strings"

	"propwright/parsers"
)

// misfit says in words what a tag is by the site's register, where that does not
// fit the role that it was shown in; "" where it does, or the register says nothing
// of the two. A print that leaves open which tag it is cannot be held against it.
func (it Item) misfit(role, uid string) string {
	role, _, _ = strings.Cut(role, "-") // show-2 is a further one of the prop's own
	u, err := parsers.ParseUID(uid)
	if err != nil || u.Ambiguous() {
		return ""
	}
	roleIsRegistered := false
	for _, t := range it.Tags {
		own := t.Role == role && (role != RoleShow || t.Whose == it.Prop)
		if t.UID == uid {
			switch {
			case t.State == tagLost:
				return "a tag that is registered as lost"
			case own:
				return ""
			case t.Whose != "":
				return "a tag that is registered as " + t.Role + " of " + t.Whose
			}
			return "a tag that is registered as " + t.Role
		}
		roleIsRegistered = roleIsRegistered || own && t.State != tagLost
	}
	if roleIsRegistered && (role == RoleShow || role == RoleMaster) {
		return "a tag that is not registered as " + role
	}
	return ""
}

// Keeper is who keeps the site's master, for a sentence: a name, or "its keeper".
func (it Item) Keeper() string { return cmp.Or(it.keeper(), "its keeper") }

// keeper is who keeps the site's master, "" where the register names nobody or
// several.
func (it Item) keeper() string {
	name := ""
	for _, t := range it.Tags {
		if t.Role != RoleMaster || t.Whose == "" || t.Whose == name || t.State == tagLost {
			continue
		}
		if name != "" {
			return ""
		}
		name = t.Whose
	}
	return name
}

// keptBy is the keeper for an instruction, with a comma before, or "".
func (it Item) keptBy() string {
	if k := it.keeper(); k != "" {
		return ", which " + k + " keeps,"
	}
	return ""
}
