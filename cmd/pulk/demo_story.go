package main

import (
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"pulk/checklist/procedure"
	"pulk/schema/decimal"
	"pulk/testdata"
)

func (d *demo) opening() {
	d.chapter("A season's slice at three made-up sites")
	d.say("The Tarn Institute (home) has a camp on an ice plateau (stn) and a ship that supplies it (ship). Instruments go down a hole in the ice; once it freezes, nobody can fetch them back. " +
		"Each site keeps one SQLite file and works without the others; what changed is carried between them in small bundles.")
	d.say("All files are in %s. To repeat a command, go there and set PULK_PASSPHRASE_FILE=passphrase. The clock is the story's.", d.folder)
}

// home sets up the first site and plays in what it has kept since.
func (d *demo) home() {
	d.chapter("1. Home: people, procedures, the catalogue, and the books of two seasons")
	d.do(`init --store home.db --campaign "Vindur Deep" --code home --name "Tarn Institute"`)
	for _, p := range []struct{ code, name, roles string }{
		{"oskar", "Oskar Venn", "--role quality --role technician"}, {"lena", "Lena Fors", "--role release-authority"}, {"piet", "Piet Marr", "--role cargo-officer"},
		{"ida", "Ida Brekke", "--role deployment-lead"}, {"tomas", "Tomas Quill", "--role drill-engineer"}, {"mirre", "Mirre Aalto", "--role technician"},
	} {
		line := fmt.Sprintf(`person add %s --name "%s" %s --store home.db`, p.code, p.name, p.roles)
		if p.code == "oskar" {
			d.do(line)
		} else {
			d.quietly(line)
		}
	}
	for _, name := range []string{"module-acceptance", "borehole-lowering", "cable-landing", "power-up"} {
		d.copyOut("procedures/"+name+".yaml", name+".yaml")
	}
	d.copyOut("catalogue.csv", "catalogue.csv")
	d.copyOut("assemblies/string-7.csv", "string-7.csv")
	d.copyOut("seasons/planned_runs.csv", "planned_runs.csv")
	d.copyOut("crates/crates.csv", "crates.csv")
	d.do("procedure import module-acceptance.yaml borehole-lowering.yaml cable-landing.yaml power-up.yaml --as oskar --store home.db")
	d.do("item import catalogue.csv --as piet --store home.db")
	rows := d.seasons("home.db")
	d.say("The books of two seasons (%d rows: receipts, moves, issues, counts, installations, failures) are played in through the same rules as any command. It is October 2027 now, and the third season begins.", rows)
	d.now = time.Date(2027, 10, 4, 7, 30, 0, 0, time.UTC)
	d.do("stock list --at stn-store --store home.db")
	d.say("Who signs has a key of their own, locked by a passphrase, in the store where they work. Lena releases; she sits at home.")
	d.do("person key lena --store home.db")
	d.quietly("person key oskar --store home.db")
}

func (d *demo) sites() {
	d.chapter("2. Three stores that know and trust each other")
	d.say("Station and ship join with home's card. A site is trusted when two people have compared its fingerprint by voice.")
	d.card("home")
	d.do(`init --store stn.db --join home.card --code stn --name "Vindur Plateau Camp"`)
	d.quietly(`init --store ship.db --join home.card --code ship --name "MV Sella"`)
	d.card("stn")
	d.card("ship")
	d.do("site add stn.card --store home.db")
	shown := false
	for _, at := range []string{"home", "stn", "ship"} {
		for _, other := range []string{"stn", "ship", "home"} {
			if at == other {
				continue
			}
			d.quietly(fmt.Sprintf("site add %s.card --store %s.db", other, at))
			line := fmt.Sprintf("site trust %s %s --store %s.db", other, strings.TrimSpace(lineAfter(d.file(other+".card"), "fingerprint:")), at)
			if shown {
				d.quietly(line)
			} else {
				d.do(line)
				shown = true
			}
		}
	}
	d.say("(and the same between each two of them.) Home and station exchange through a folder: a USB stick on a flight, or a synchronised share. The whole past fits one small file.")
	if d.err == nil {
		d.err = os.Mkdir("stick", 0o755)
	}
	d.do("exchange stick --store home.db")
	d.do("exchange stick --store stn.db")
	d.quietly("exchange stick --store ship.db")
	d.quietly("person key ida --store stn.db")
	d.sync("stn", "home")
}

// card writes a site's card to a file, as a shell would.
func (d *demo) card(site string) {
	text := d.quietly("site card --store " + site + ".db")
	if d.err == nil {
		d.err = os.WriteFile(site+".card", []byte(text), 0o644)
	}
}

func (d *demo) file(name string) string {
	text, err := os.ReadFile(name)
	if err != nil && d.err == nil {
		d.err = err
	}
	return string(text)
}

func lineAfter(text, before string) string {
	_, rest, _ := strings.Cut(text, before)
	line, _, _ := strings.Cut(rest, "\n")
	return line
}

func (d *demo) copyOut(from, to string) {
	if d.err != nil {
		return
	}
	source, err := fs.ReadFile(testdata.FS, from)
	if err == nil {
		err = os.WriteFile(to, source, 0o644)
	}
	d.err = err
}

// demoModules are the new modules of the season.
var demoModules = []string{"SM3-0161", "SM3-0162", "SM3-0163", "SM3-0164", "SM3-0165", "SM3-0166", "SM3-0167", "SM3-0168"}

// demoInstruments are what the sites measure with, by part.
var demoInstruments = map[string]map[string]string{
	"home": {"TOL-004": "INS-01", "TOL-012": "VAC-01", "TOL-013": "HLD-01"},
	"stn":  {"TOL-004": "INS-04"},
}

func (d *demo) acceptance() {
	d.chapter("3. Modules are accepted at home")
	d.say("Eight new sensor modules stand on the bench. Each is measured by the acceptance procedure: readings are judged against limits, and nothing is released before quality and the release authority have signed.")
	d.quietly("unit add BAT-0161 --part SM3-007 --at home-bench --as oskar --store home.db")
	for i, serial := range demoModules {
		line := "unit add " + serial + " --part SM3-001 --at home-bench --as oskar --store home.db"
		if i == 0 {
			d.do(line)
		} else {
			d.quietly(line)
		}
	}
	d.say("What measures is a unit too, with a calibration, what its certificate states as uncertainty, and the last day that it holds.")
	for _, piece := range []string{"INS-01 --part TOL-004", "VAC-01 --part TOL-012", "HLD-01 --part TOL-013"} {
		d.quietly("unit add " + piece + " --at home-bench --as oskar --store home.db")
	}
	d.do(`unit calibrate INS-01 --certificate 27-0611 --on 2027-06-14 --due 2028-06-30 --uncertainty "MOhm: 2 + 3 %" --as oskar --store home.db`)
	d.quietly(`unit calibrate VAC-01 --certificate 27-0612 --on 2027-06-14 --due 2028-06-30 --uncertainty "mbar: 1.5" --as oskar --store home.db`)
	d.quietly(`unit calibrate HLD-01 --certificate 27-0702 --on 2027-07-02 --due 2028-07-31 --uncertainty "mbar.L/s: 20 %" --as oskar --store home.db`)
	text := d.do("run start module-acceptance --target SM3-0161 --as oskar --store home.db")
	name := wordAfter(text, "started run")
	d.carryOut("home", name, "80", map[string]string{"10": "SM3-0161", "20": "BAT-0161"})
	d.say("An insulation of three readings. The tester shows gigohm, the procedure asks for megohm; the lower limit is guarded by the tester's uncertainty:")
	d.do("run check " + name + " 80 0.640 0.655 0.650 --unit GOhm --with INS-01 --as oskar --store home.db")
	d.carryOut("home", name, "", map[string]string{})
	d.do("run sign " + name + " 320 go --as lena --store home.db")
	d.quietly("run check " + name + " 330 --as oskar --store home.db")
	d.do("run end " + name + " --as oskar --store home.db")
	for _, serial := range demoModules {
		d.quietly("unit state " + serial + " accepted --as oskar --store home.db")
		d.quietly("unit state " + serial + " released --as lena --store home.db")
	}
	d.say("(The story takes the other seven as accepted in the same way.) The whole history of a unit is its dossier:")
	d.do("unit dossier SM3-0161 --store home.db")
}

func (d *demo) shipping() {
	d.chapter("4. Shipped, and received at the station")
	d.pass(4 * 24 * time.Hour)
	d.say("Is there a way that has all of it on the plateau in time? Legs have cut-offs, and the aircraft waits for the weather. What must be where, by when?")
	d.copyOut("freight/legs-2027.csv", "legs.csv")
	d.do("leg shipby --legs legs.csv --needed 2027-12-20")
	d.say("Crates are places that travel: what is moved to one lies in it, and is listed as it is when the manifest is made. The seals go in a crate that must not freeze.")
	d.do("stock receive CON-011 60 --to home-store --lot L2710 --expires 2031-10-01 --as piet --store home.db")
	d.do(`crate add CR-01 --outside 1200x800x760 --tare 31kg --max 250kg --name "Sensor modules" --at home-store --as piet --store home.db`)
	d.quietly(`crate add CR-02 --outside 1200x800x760 --tare 31kg --max 250kg --name "Sensor modules" --at home-store --as piet --store home.db`)
	d.do(`crate add CR-03 --outside 400x300x250 --tare 1.9kg --kept 2..30 --name "Seals, keep from frost" --at home-store --as piet --store home.db`)
	for i, serial := range demoModules {
		d.quietly(fmt.Sprintf("unit move %s --to CR-0%d --as piet --store home.db", serial, 1+i/4))
	}
	d.do("stock move CON-011 60 --from home-store --to CR-03 --lot L2710 --as piet --store home.db")
	d.do("crate weigh CR-01 89.5kg --seal 004711 --as piet --store home.db")
	d.quietly("crate weigh CR-02 89.0kg --seal 004712 --as piet --store home.db")
	d.quietly("crate weigh CR-03 2.2kg --as piet --store home.db")
	d.do(`manifest make M-27-1 --from home-store --to stn-store --needed 2027-12-20 --consignor "Tarn Institute, store" --consignee "Camp manager, Vindur Plateau Camp" --as piet --store home.db`)
	d.say("The papers. Each module has a lithium battery in it: what that is by the rules of transport stands with the item, for the shipper who is trained to decide.")
	d.do("item hazard SM3-001 --un 3091 --suggest --state solid --net 620g --as piet --store home.db")
	d.do("manifest print M-27-1 --pdf manifest.pdf --xlsx manifest.xlsx --csv papers --legs legs.csv --store home.db")
	d.do("manifest labels M-27-1 -o labels.pdf --store home.db")
	d.do(`manifest send M-27-1 --carrier "MV Fulmar, then aircraft" --as piet --store home.db`)
	d.sync("home", "ship", "stn")
	d.pass(47 * 24 * time.Hour)
	d.say("Seven weeks later the crates stand at the camp. Two still have their seals and stay shut; the third was opened on the way, and its bag is torn.")
	d.do("manifest scan M-27-1 CR-01 --sealed 004711 --as mirre --store stn.db")
	d.quietly("manifest scan M-27-1 CR-02 --sealed 004712 --as mirre --store stn.db")
	d.do("manifest scan M-27-1 CR-03 --logger 3..19 --as mirre --store stn.db")
	d.do("manifest scan M-27-1 CON-011 --crate CR-03 --quantity 58 --as mirre --store stn.db")
	d.do("manifest book M-27-1 --as mirre --store stn.db")
	for _, serial := range demoModules {
		d.quietly("unit move " + serial + " --to stn-store --as mirre --store stn.db")
	}
	d.quietly("stock move CON-011 58 --from CR-03 --to stn-store --lot L2710 --as mirre --store stn.db")
	d.say("Two O-rings are still under way by the record: nobody has lost them yet, and nobody counts on them.")
	d.do("manifest show M-27-1 --store stn.db")
}

// sync carries the stick from site to site and back to the first.
func (d *demo) sync(sites ...string) {
	for _, site := range append(sites, sites[0]) {
		d.quietly("exchange stick --store " + site + ".db")
	}
}

// carryOut carries out the steps of a run up to a step, or as far as it goes, with
// values inside the limits; serials are taken from scans, or as they come.
func (d *demo) carryOut(site, name, until string, scans map[string]string) {
	for range 200 {
		if d.err != nil {
			return
		}
		state := d.state(site+".db", name)
		if d.err != nil {
			return
		}
		n, ok := state.Next()
		if !ok || state.Steps[n].Step.ID == until {
			return
		}
		if !d.oneStep(site, name, state.Steps[n].Step, scans) {
			return
		}
	}
}

// whoDoes says who carries out the steps of a role, and where a role signs.
var whoDoes = map[string]map[string]string{
	"home": {"technician": "oskar", "quality": "oskar", "": "oskar", "release-authority": "lena"},
	"stn":  {"technician": "mirre", "drill-engineer": "tomas", "deployment-lead": "ida", "": "ida"},
}

// oneStep carries out one step; false where someone elsewhere must sign, or where
// the story wants to show the last signature.
func (d *demo) oneStep(site, name string, step *procedure.Step, scans map[string]string) bool {
	role := step.Role
	if step.Sign != nil {
		role = step.Sign.Role
	}
	who := whoDoes[site][role]
	if who == "" || site == "home" && role == "release-authority" {
		return false
	}
	tail := fmt.Sprintf(" --as %s --store %s.db", who, site)
	d.pass(3 * time.Minute)
	switch step.Kind {
	case procedure.KindHold, procedure.KindWitness:
		d.quietly("run sign " + name + " " + step.ID + " go" + tail)
	case procedure.KindReading:
		if i := step.Reading.Instrument; i != nil {
			tail = " --with " + demoInstruments[site][i.Part] + tail
		}
		d.quietly("run check " + name + " " + step.ID + strings.Repeat(" "+goodValue(step), max(1, step.Reading.Repeat)) + tail)
	case procedure.KindRecord:
		text := scans[step.ID]
		if text == "" {
			text = "see the log book"
		}
		d.quietly("run check " + name + " " + step.ID + " " + text + tail)
	case procedure.KindWait:
		d.quietly("run check " + name + " " + step.ID + tail)
		d.pass(time.Duration(step.WaitMinutes+1) * time.Minute)
		d.quietly("run check " + name + " " + step.ID + tail)
	default:
		d.quietly("run check " + name + " " + step.ID + tail)
	}
	return true
}

// goodValue returns a value well inside a reading's limits.
func goodValue(step *procedure.Step) string {
	low, high := step.Reading.Limits.Min, step.Reading.Limits.Max
	var value float64
	scale := uint8(1)
	switch {
	case low != nil && high != nil && low.Cmp(*high) == 0:
		return low.String()
	case low != nil && high != nil:
		value, scale = (low.Float64()+high.Float64())/2, max(low.Scale, high.Scale)+1
	case low != nil:
		value, scale = low.Float64()*1.4+1, low.Scale
	case high != nil:
		value, scale = high.Float64()*0.4, high.Scale+1
	}
	text := fmt.Sprintf("%.*f", scale, value)
	if _, err := decimal.Parse(text); err != nil {
		return "1"
	}
	return text
}
