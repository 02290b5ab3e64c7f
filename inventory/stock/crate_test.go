package stock

import "testing"

func TestParseSpan(t *testing.T) {
	for _, good := range []string{"-20..5", "5..25", "-0.5..0.5", "-80..-20"} {
		s, err := ParseSpan(good)
		if err != nil || s.String() != good || !s.Told {
			t.Errorf("%q: %q, %v", good, s, err)
		}
	}
	if s, err := ParseSpan(""); err != nil || s.Told || s.String() != "" {
		t.Errorf("none: %v, %v", s, err)
	}
	for _, bad := range []string{"5", "5..", "..5", "5..5", "5..-20", "a..b", "-300..5", "0..1001", "1…2", "1..2..3"} {
		if s, err := ParseSpan(bad); err == nil {
			t.Errorf("%q is read as %q", bad, s)
		}
	}
}

func TestSpanKeeps(t *testing.T) {
	span := func(text string) Span {
		s, err := ParseSpan(text)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	for _, c := range []struct {
		kept, seen string
		want       bool
	}{
		{"-20..5", "-20..5", true}, {"-20..5", "-20.0..5.00", true}, {"-20..5", "-20.1..0", false}, {"-20..5", "0..5.1", false}, {"-20..5", "-60..60", false}, {"", "-60..60", true},
	} {
		seen := span(c.seen)
		if got := span(c.kept).Keeps(seen.Lowest, seen.Highest); got != c.want {
			t.Errorf("kept %s, seen %s: %v", c.kept, c.seen, got)
		}
	}
}

func TestParseSides(t *testing.T) {
	for text, want := range map[string][3]int64{"1200x800x600": {1200, 800, 600}, "1200×800×600": {1200, 800, 600}, "1X2X3": {1, 2, 3}, " 10 x 20 x 30 ": {10, 20, 30}} {
		got, err := ParseSides(text)
		if err != nil || got != want {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for _, bad := range []string{"", "1200x800", "1x2x3x4", "0x1x2", "-1x2x3", "1.5x2x3", "100001x1x1", "axbxc"} {
		if got, err := ParseSides(bad); err == nil {
			t.Errorf("%q is read as %v", bad, got)
		}
	}
}
