package stock

import (
	"fmt"
	"testing"

	"pulk/sync/clock"
)

func TestStandsFor(t *testing.T) {
	ring, other, third := dot(1), dot(2), dot(3)
	say := func(n int, item, stand clock.Dot, role string, allowed bool, knew ...int) Substitute {
		return Substitute{ID: dot(n), Item: item, Stand: stand, Role: role, Allowed: allowed, Knew: func(d clock.Dot) bool {
			for _, k := range knew {
				if d == dot(k) {
					return true
				}
			}
			return false
		}}
	}
	for _, c := range []struct {
		name string
		said []Substitute
		want string
	}{
		{"nothing", nil, ""},
		{"one_way", []Substitute{say(10, other, ring, "", true)}, ""},
		{"by_anybody", []Substitute{say(10, ring, other, "", true)}, "2 [] "},
		{"by_a_role", []Substitute{say(10, ring, other, "lead", true)}, "2 [lead] "},
		{"two", []Substitute{say(11, ring, third, "", true), say(10, ring, other, "", true)}, "2 [] 3 [] "},
		{"taken_back", []Substitute{say(10, ring, other, "", true), say(11, ring, other, "", false, 10)}, ""},
		{"given_again", []Substitute{say(10, ring, other, "", true), say(11, ring, other, "", false, 10), say(12, ring, other, "lead", true, 10, 11)}, "2 [lead] "},
		{"taken_back_unheard", []Substitute{say(10, ring, other, "", true), say(11, ring, other, "", false, 10), say(12, ring, other, "lead", true, 10)}, ""},
		{"two_roles_unheard", []Substitute{say(10, ring, other, "lead", true), say(11, ring, other, "quality", true)}, "2 [lead quality] "},
		{"anybody_unheard_of_a_role", []Substitute{say(10, ring, other, "lead", true), say(11, ring, other, "", true)}, "2 [lead] "},
	} {
		got := ""
		for _, s := range StandsFor(c.said, ring) {
			got += fmt.Sprintf("%d %v ", s.Item.Seq, s.Roles)
		}
		if got != c.want {
			t.Errorf("%s: %q; want %q", c.name, got, c.want)
		}
	}
}
