package procedure

import "testing"

func TestNearest(t *testing.T) {
	keys := []string{"id", "title", "revision", "hazards", "steps"}
	for _, c := range []struct{ word, want string }{
		{"step", "steps"}, {"tilte", "title"}, {"revison", "revision"}, {"hazrd", ""}, {"harzards", "hazards"},
		{"steps", "steps"}, {"colour", ""}, {"x", ""}, {"", ""}, {"idd", "id"}, {"títle", "title"},
	} {
		if got, ok := nearest(c.word, keys); got != c.want || ok != (c.want != "") {
			t.Errorf("nearest(%q) = %q, %t; want %q", c.word, got, ok, c.want)
		}
	}
}

func TestEditDistance(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"abc", "", 3}, {"abc", "acb", 1}, {"kitten", "sitting", 3}, {"ca", "abc", 3}} {
		if got := editDistance(c.a, c.b); got != c.want {
			t.Errorf("editDistance(%q, %q) = %d; want %d", c.a, c.b, got, c.want)
		}
	}
}
