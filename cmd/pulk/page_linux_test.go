package main

import (
	"bytes"
	"encoding/json"
	"net/http"
	"strings"
	"sync"
	"testing"

	"pulk/checklist/work"
)

// TestPageTakesTapsOnce sends one tap many times: at once, and after the program was
// killed and started again. It is in the record once, and the answer is the same
// each time.
func TestPageTakesTapsOnce(t *testing.T) {
	t.Parallel()
	h := newHut(t)
	s := newPageServer(h)
	s.start("2027-01-05T08:00:00Z")
	token := ""
	post := func(path string, body, answer any) {
		text, err := json.Marshal(body)
		if err != nil {
			t.Error(err)
			return
		}
		request, err := http.NewRequest(http.MethodPost, s.front.URL+path, bytes.NewReader(text))
		if err != nil {
			t.Error(err)
			return
		}
		request.Header.Set("Content-Type", "application/json")
		request.Header.Set("Authorization", "Bearer "+token)
		response, err := http.DefaultClient.Do(request)
		if err != nil {
			t.Error(err)
			return
		}
		defer response.Body.Close()
		if err := json.NewDecoder(response.Body).Decode(answer); err != nil || response.StatusCode != http.StatusOK {
			t.Errorf("%s: %d %v", path, response.StatusCode, err)
		}
	}
	enter := func() {
		var entered struct{ Token string }
		post("/enter", map[string]string{"person": "ida", "passphrase": hutWords[0]}, &entered)
		token = entered.Token
	}
	enter()
	var looked struct{ Scene work.Scene }
	post("/look", map[string]string{"run": hutRun, "known": ""}, &looked)
	step := looked.Scene.StepByID("20")
	tap := map[string]any{"run": hutRun, "tap": work.Tap{ID: strings.Repeat("ab", 16), Step: "20", Act: work.Read, Text: "0.3", Shown: step.Shown, Read: true}}
	said := make([]string, 8)
	var all sync.WaitGroup
	for i := range said {
		all.Go(func() {
			var answer struct{ Said string }
			post("/tap", tap, &answer)
			said[i] = answer.Said
		})
	}
	all.Wait()
	s.stop()
	s.start("2027-01-05T09:00:00Z")
	enter()
	var answer struct{ Said string }
	post("/tap", tap, &answer)
	for _, text := range append(said, answer.Said) {
		if text != "step 20: 0.3 Ohm, within limits at most 0.50" {
			t.Errorf("the answers are %q", append(said, answer.Said))
			break
		}
	}
	if shown := h.pulk("run", "show", hutRun); strings.Count(shown, "0.3 Ohm") != 1 {
		t.Errorf("the record holds\n%s", shown)
	}
	var refused struct {
		Taken bool
		What  string
	}
	post("/tap", map[string]any{"run": hutRun, "tap": work.Tap{ID: strings.Repeat("cd", 16), Step: "20", Act: work.Read, Text: "0.4", Shown: step.Shown}}, &refused)
	if refused.Taken || !strings.Contains(refused.What, "cautions of step 20 have not been read") {
		t.Errorf("a tap by who has not read the cautions: %+v", refused)
	}
}
