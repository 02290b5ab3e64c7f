package main

import (
	"fmt"
	"os"
	"strings"
	"time"

	"pulk/checklist/run"
)

// lowering carries the string down to where only the irreversible step is left.
func (d *demo) lowering() {
	d.chapter("5. Lowering the string: readings on both sides of a limit")
	d.pass(20 * 24 * time.Hour)
	d.quietly("unit add STG-07 --part STR-001 --at drill-hut --as mirre --store stn.db")
	d.say("The string is an assembly: its plan says which module goes into which slot, how deep it will hang and on which channel it answers.")
	d.do(`assembly plan STG-07 string-7.csv --title "String 7" --datum "collar of hole 6" --length 2150 --as ida --store stn.db`)
	text := d.do(`run start borehole-lowering --target STG-07 --at hole-6 --title "Hole 6, string 7" --as ida --store stn.db`)
	d.runName = wordAfter(text, "started run")
	d.do("run show " + d.runName + " --store stn.db")
	d.say("Mirre reads the hut's air and the carbon monoxide alarm. The first is fine; the second is too high, and a nonconformance opens by itself. It shuts the gates of this run.")
	d.quietly("run check " + d.runName + " 10 --as ida --store stn.db")
	d.quietly("run check " + d.runName + " 20 --as ida --store stn.db")
	d.do("run check " + d.runName + " 30 -4.5 --as mirre --store stn.db")
	d.do("run check " + d.runName + " 40 14 --as mirre --store stn.db")
	nc := d.openNC("stn")
	d.do("nc list --open --store stn.db")
	d.say("Ida, who signs hold points of this procedure, decides: rework. The heater is moved out, and the reading is taken again.")
	d.do(`nc dispose ` + nc + ` rework --why "heater moved out of the hut, aired for 20 minutes" --as ida --store stn.db`)
	d.pass(25 * time.Minute)
	d.do("run check " + d.runName + " 40 2 --as mirre --store stn.db")
	scans := map[string]string{"130": "STG-07"}
	for i, serial := range demoModules {
		scans[fmt.Sprintf("m%d-serial", i+1)] = serial
	}
	d.carryOut("stn", d.runName, "140", scans)
	d.say("The string cable's insulation. Mirre takes the tester that lies nearest, and its calibration ran out over the winter. The reading is kept, and does not count.")
	d.quietly("unit add INS-03 --part TOL-004 --at drill-hut --as mirre --store stn.db")
	d.quietly("unit add INS-04 --part TOL-004 --at drill-hut --as mirre --store stn.db")
	d.quietly(`unit calibrate INS-03 --certificate 26-0388 --on 2026-10-05 --due 2027-10-31 --uncertainty "MOhm: 2 + 3 %" --as mirre --store stn.db`)
	d.quietly(`unit calibrate INS-04 --certificate 27-0613 --on 2027-06-14 --due 2028-06-30 --uncertainty "MOhm: 2 + 3 %" --as mirre --store stn.db`)
	d.do("unit list --calibrated --at drill-hut --store stn.db")
	d.do("run check " + d.runName + " 140 1510 --with INS-03 --as mirre --store stn.db")
	d.do("run check " + d.runName + " 140 1.51 1.49 1.53 --unit GOhm --with INS-04 --as mirre --store stn.db")
	d.carryOut("stn", d.runName, "180", scans)
	d.say("Points 180 and 190 are signed at home, on the evidence that bundles bring. The station sends what it has, quality and release authority sign, and the answer goes back.")
	d.sync("stn", "home")
	d.do("run sign " + d.runName + " 180 go --as oskar --store home.db")
	d.do("run sign " + d.runName + " 190 go --as lena --store home.db")
	d.sync("home", "stn")
	d.say("The string goes down, module by module: serials scanned, currents and tensions read, parts taken from stock.")
	d.do("stock issue CON-011 16 --from stn-store --run " + d.runName + " --step m1-serial --as tomas --store stn.db")
	d.carryOut("stn", d.runName, "m3-serial", scans)
	d.say("Tomas scans the module that is in slot 1 again, for slot 3. A scan is the last moment at which that costs nothing: it is refused.")
	d.refused("run check " + d.runName + " m3-serial " + demoModules[0] + " --as mirre --store stn.db")
	d.carryOut("stn", d.runName, "400", scans)
	d.do(`assembly built STG-07 1 --depth 1999.6 --as mirre --store stn.db`)
	d.show("assembly show STG-07 --store stn.db", exitDone, 20)
	d.do("run list --store stn.db")
}

// openNC returns the id of the first open nonconformance at a site.
func (d *demo) openNC(site string) string {
	text := d.quietly("nc list --open --store " + site + ".db")
	lines := strings.Split(text, "\n")
	if len(lines) < 3 || len(strings.Fields(lines[2])) == 0 {
		if d.err == nil {
			d.err = fmt.Errorf("the demo went wrong: no nonconformance is open at %s", site)
		}
		return ""
	}
	return strings.Fields(lines[2])[0]
}

// crossing lets a release and a failing reading cross on a lossy link.
func (d *demo) crossing() {
	d.chapter("6. A release crosses a failing reading on a bad link")
	d.say("Hold point 400 is the last: behind it the clamp is released and the hole freezes. The procedure asks for a readiness review there: several people look at one list, worked out from data, before anybody signs. The string itself was never accepted: nobody would have asked.")
	d.quietly("location transport stn 2028-02-12 --as ida --store stn.db")
	d.do("review open " + d.runName + " --as ida --store stn.db")
	d.do(`unit state STG-07 accepted --why "all modules answer on the surface and at depth" --as ida --store stn.db`)
	d.do("review answer " + d.runName + ` rested yes "all slept from 21 to 6" --as ida --store stn.db`)
	d.do("review answer " + d.runName + " load yes --as tomas --store stn.db")
	d.do("review decide " + d.runName + " go --as ida --store stn.db")
	d.say("The station's bundle goes home by mail, and the gateway cuts it off. A damaged bundle is refused whole.")
	d.do("bundle make --to home -o stn-1.bundle --store stn.db")
	d.cutOff("stn-1.bundle", "stn-1-cut.bundle")
	d.failed("bundle take stn-1-cut.bundle --store home.db")
	d.do("bundle take stn-1.bundle --store home.db")
	d.say("It comes a second time; that does no harm. Oskar gives the second go of the review; Lena reads the record and signs go. What she signs is exactly what she had in hand: her signature covers a digest of it.")
	d.do("bundle take stn-1.bundle --store home.db")
	d.quietly("review decide " + d.runName + " go --role quality --as oskar --store home.db")
	d.do("run sign " + d.runName + " 400 go --as lena --store home.db")
	d.do("bundle make --to stn -o home-1.bundle --store home.db")
	d.say("While that bundle is on its way and the link is down, Mirre measures the insulation once more, to be sure. It has fallen.")
	d.pass(40 * time.Minute)
	d.do("run check " + d.runName + " 300 6 --again --with INS-04 --as mirre --store stn.db")
	d.say("Now Lena's release arrives. It was right by what she knew, but it was given without a reading that existed: it is overtaken, and the gate stays shut. The one step that cannot be undone is refused, with exit code 3.")
	d.do("bundle take home-1.bundle --store stn.db")
	d.refused("run check " + d.runName + " 410 --as tomas --store stn.db")
}

func (d *demo) cutOff(from, to string) {
	data, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, data[:len(data)*2/3], 0o644)
	}
	if d.err == nil {
		d.err = err
	}
}

// again settles the failing reading and has the release signed again.
func (d *demo) again() {
	d.chapter("7. Found, mended, measured, signed again")
	d.say("The test lead was wet. Ida decides on the nonconformance. Every gate of the run stood on a record without it, so each is signed again, in order, before work goes on; then Mirre measures again.")
	nc := d.openNC("stn")
	d.do(`nc dispose ` + nc + ` rework --why "test lead was wet at the gland; dried, lead changed" --as ida --store stn.db`)
	d.signMissing()
	d.do("run check " + d.runName + " 300 310 --with INS-04 --as mirre --store stn.db")
	d.signMissing()
	d.say("The readiness review fell with the reading, and is decided anew by all of its roles.")
	d.do("review decide " + d.runName + " go --as ida --store stn.db")
	d.sync("stn", "home")
	d.do("review decide " + d.runName + " go --role quality --as oskar --store home.db")
	d.do("run sign " + d.runName + " 400 go --as lena --store home.db")
	d.sync("home", "stn")
	d.say("Now the gate is open, at every site that has heard of it:")
	d.do("run check " + d.runName + " 410 --as tomas --store stn.db")
	d.carryOut("stn", d.runName, "", map[string]string{})
	d.sync("stn", "home")
}

// signMissing signs anew, where their signers are, the gates that were signed before
// and are shut, as far as work has come.
func (d *demo) signMissing() {
	for range 8 {
		d.sync("stn", "home")
		state := d.state("stn.db", d.runName)
		if d.err != nil {
			return
		}
		step := reopened(state)
		if step == nil {
			return
		}
		site, who := "stn", whoDoes["stn"][step.Gate.Role]
		if who == "" {
			site, who = "home", whoDoes["home"][step.Gate.Role]
		}
		d.do(fmt.Sprintf("run sign %s %s go --as %s --store %s.db", d.runName, step.Step.ID, who, site))
	}
}

// reopened returns the first gate that was signed before and can be signed again
// now, save the one that the story ends with.
func reopened(state *run.State) *run.StepState {
	for i := range state.Steps {
		step := &state.Steps[i]
		if step.Gate != nil && !step.Done && len(step.Blocked) == 0 && len(step.Gate.SignOffs) > 0 && step.Step.ID != "400" {
			return step
		}
	}
	return nil
}

// conflict has two sites change the same thing without having heard of each other.
func (d *demo) conflict() {
	d.chapter("8. Two sites change the same thing")
	d.say("The link is down again. Home and station both set how many connector rings are to be kept at the station. Neither is overwritten: both values stay until a person settles it.")
	d.do("item minimum CON-011 40 --at stn-store --as oskar --store home.db")
	d.do("item minimum CON-011 80 --at stn-store --as ida --store stn.db")
	d.sync("stn", "home")
	text := d.do("conflict list --store home.db")
	id := conflictID(text)
	text = d.do("conflict show " + id + " --store home.db")
	d.do(`conflict settle ` + id + ` --take ` + sideOf(text, "80") + ` --why "agreed by radio" --as oskar --store home.db`)
	d.sync("home", "stn")
	d.do("conflict list --store stn.db")
}

// sideOf returns the number of the side of a conflict with a value.
func sideOf(text, value string) string {
	for _, line := range strings.Split(text, "\n") {
		if words := strings.Fields(line); len(words) > 1 && words[1] == value {
			return words[0]
		}
	}
	return "0"
}

func conflictID(text string) string {
	for _, line := range strings.Split(text, "\n") {
		if words := strings.Fields(line); len(words) > 0 && strings.Contains(words[0], ":item.minimum") {
			return words[0]
		}
	}
	return "none"
}

func (d *demo) kit() {
	d.chapter("9. Next season's kit list")
	d.say("What failed and what was used says what to send for the months without delivery. Modules frozen into a hole need no spares: nobody can reach them.")
	scope := " --until 2028-11-15 --at stn --unreachable hole-1 --unreachable hole-2 --unreachable hole-3 --unreachable hole-4 --unreachable hole-5 --unreachable hole-6"
	d.show("kit plan"+scope+" --confidence 0.95 --planned planned_runs.csv --csv kit.csv --store home.db", exitDone, 40)
	d.say("Cable and weights go by ship. The last aircraft takes 90 kg of spares: under that cap they are chosen together, so that the odds that none of them runs out are the best there are. Played winters check the arithmetic.")
	d.show("kit plan"+scope+" --mass 90kg --simulate 20000 --store home.db", exitDone, 60)
	d.say("What a further kilogram would bring is what to tell who decides about the load; and each line can be defended.")
	d.show("kit curve"+scope+" --points 8 --svg odds.svg --store home.db", exitDone, 20)
	d.show("kit why PWR-009"+scope+" --mass 90kg --store home.db", exitDone, 30)
	d.say("The plan is kept, and what it sends becomes boxes. Batteries are dangerous goods: what they are by the rules of transport stands with the item, and a trained and certified shipper decides.")
	d.quietly("kit plan" + scope + " --mass 90kg --save flight-90 --as piet --store home.db")
	d.do("item hazard STR-014 --un 3480 --suggest --state solid --net 5400g --volts 25.6 --amp-hours 20 --as piet --store home.db")
	d.do("kit boxes flight-90 -o boxes.csv --store home.db")
	d.say("Do they fit? Boxes go into crates by search. Boxes of different classes of dangerous goods would never share a crate, unless who is trained for it says so.")
	d.show("crate pack --boxes boxes.csv --into crates.csv --csv places.csv --svg drawings --pdf load.pdf", exitDone, 90)
}

func (d *demo) reports() {
	d.chapter("10. The day's report")
	day := d.now.Format(time.DateOnly)
	d.show("report day --date "+day+" --html day.html --store home.db", exitDone, 30)
	if d.err == nil {
		text := d.quietly("report day --date " + day + " --store home.db")
		d.err = os.WriteFile("day.txt", []byte(text), 0o644)
	}
}

func (d *demo) ending() {
	d.chapter("11. All stores agree")
	d.sync("stn", "home", "ship", "home", "stn")
	for _, site := range []string{"home", "stn", "ship"} {
		d.do("verify --store " + site + ".db")
	}
	d.say("The three digests are the same: whatever order the bundles came in, the state follows from what was written alone.")
	d.say("The stores home.db, stn.db and ship.db, the day's report day.html and day.txt, the kit list kit.csv, its odds odds.svg the loading plan load.pdf, the papers manifest.pdf, manifest.xlsx and labels.pdf are in %s. Try: pulk run show %s --store stn.db; pulk unit dossier SM3-0161 --store home.db; pulk bundle show stn-1.bundle; pulk run work %s --store home.db --as oskar after starting a run of your own.",
		d.folder, d.runName, "RUN")
	d.say("Everything here is made up. In the field, local rules and licensed or medical staff decide.")
}
