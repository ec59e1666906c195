// Package access decides who may do what on the pages and the programming interface: roles,
// accounts, sessions. It knows no page.
package access

import "context"

// Right is what a request needs. The zero Right is one that nobody has, so that a route that
// forgets to say what it needs is closed.
type Right uint8

// The rights.
const (
	Closed      Right = iota // nobody's
	Open                     // anybody's who reaches the port: the way in, style sheets, the health check
	Read                     // everything but secrets
	Acknowledge              // take an alarm
	Log                      // notes, fuel, what was done
	Commission               // the installer's procedure, zero
	Manage                   // accounts
	Self                     // what belongs to one's own account: its password, signing out
)

// Role is what a person is to the furnace.
type Role string

// The roles. Nobody is who has not signed in.
const (
	Nobody     Role = ""
	Viewer     Role = "viewer"
	Owner      Role = "owner"
	Technician Role = "technician" // looks from far away: takes no alarm from whoever stands in front of it
	Installer  Role = "installer"
)

// Roles are those that an account can have.
var Roles = []Role{Owner, Installer, Technician, Viewer}

// MachineRoles are those that a token can have: what a program must not do, no token can.
var MachineRoles = []Role{Viewer, Technician}

var rights = map[Role][]Right{
	Nobody:     {Open},
	Viewer:     {Open, Self, Read},
	Technician: {Open, Self, Read, Log},
	Installer:  {Open, Self, Read, Log, Acknowledge, Commission},
	Owner:      {Open, Self, Read, Log, Acknowledge, Commission, Manage},
}

// May reports whether a role has a right.
func (r Role) May(want Right) bool {
	for _, has := range rights[r] {
		if has == want {
			return true
		}
	}
	return false
}

// Person is who asks.
type Person struct {
	// Name is empty for somebody who has not signed in.
	Name string
	Role Role
	// Machine is set for a program with a token, which has no account.
	Machine bool
}

// May reports whether somebody has a right.
func (p Person) May(want Right) bool { return p.Role.May(want) && !(p.Machine && want == Self) }

type key struct{}

// With returns a context of a request that p makes.
func With(ctx context.Context, p Person) context.Context { return context.WithValue(ctx, key{}, p) }

// Of returns who makes a request; nobody where nothing is known.
func Of(ctx context.Context) Person {
	p, _ := ctx.Value(key{}).(Person)
	return p
}
