package mail

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"fmt"
	netmail "net/mail"
	"os/exec"
	"strings"
	"testing"
	"time"

	"pulk/sync/carrier"
)

const stn, home, ship = 0x0b41a87d, 0x04bc4484, 0x77e10c05

var morning = time.Date(2027, 1, 5, 8, 0, 0, 0, time.UTC)

func parcel(size int) []byte {
	data := make([]byte, size)
	copy(data, "\xb5p")
	for i := 2; i < size; i++ {
		data[i] = byte(i * 7)
	}
	return data
}

// nameAt is what a parcel of stn for a site is called.
func nameAt(to uint32, data []byte) string { return carrier.NameOf(stn, to, "log", data).String() }

func letterOf(data []byte) Letter {
	return Letter{From: netmail.Address{Name: "Vindur Plateau Camp, hut á", Address: "pulk@stn.example"}, To: netmail.Address{Name: "Tarn Institute", Address: "pulk@home.example"},
		FromCode: "stn", ToCode: "home", Campaign: "Vindur Deep", Date: morning, Name: carrier.NameOf(stn, home, "log", data), Data: data}
}

// TestMaxDataIsExact holds MaxData to what Bytes really makes: at the limit fits, a
// byte more does not, for limits at all places of the last line.
func TestMaxDataIsExact(t *testing.T) {
	empty := len(letterOf(nil).Bytes())
	for limit := empty; limit < empty+4*(lineChars+2); limit++ {
		n := letterOf(nil).MaxData(limit)
		if size := len(letterOf(parcel(max(n, 2))[:n]).Bytes()); size > limit {
			t.Fatalf("limit %d: a parcel of %d bytes makes a mail of %d", limit, n, size)
		}
		if size := len(letterOf(parcel(n + 2)[:n+1]).Bytes()); size <= limit {
			t.Fatalf("limit %d: MaxData says %d, and %d fit too (%d)", limit, n, n+1, size)
		}
	}
	if n := letterOf(nil).MaxData(empty - 1); n >= 0 {
		t.Errorf("not even the headers fit, and MaxData says %d", n)
	}
	for _, limit := range []int{50_000, 1_000_000, 10_000_000} {
		n := letterOf(nil).MaxData(limit)
		fits, over := len(letterOf(parcel(n)).Bytes()), len(letterOf(parcel(n+1)).Bytes())
		if fits > limit || over <= limit {
			t.Errorf("limit %d: %d bytes make a mail of %d, one more %d", limit, n, fits, over)
		}
		t.Logf("a gateway's limit of %d bytes leaves %d for the parcel", limit, n)
	}
}

// TestLetterFormat holds the mail to what RFC 5322 and 2045 ask of every line.
func TestLetterFormat(t *testing.T) {
	message := letterOf(parcel(1000)).Bytes()
	for i, line := range bytes.SplitAfter(message, []byte("\n")) {
		if len(line) > 0 && !bytes.HasSuffix(line, []byte("\r\n")) {
			t.Errorf("line %d does not end in CRLF: %q", i+1, line)
		}
		if len(line) > 90 {
			t.Errorf("line %d has %d characters: %s", i+1, len(line)-2, line)
		}
		for _, c := range line {
			if c >= 0x80 {
				t.Errorf("line %d is not ASCII: %q", i+1, line)
				break
			}
		}
	}
	if again := letterOf(parcel(1000)).Bytes(); !bytes.Equal(again, message) {
		t.Error("the same letter twice, and not the same bytes")
	}
	head, _, _ := bytes.Cut(message, []byte("base64"))
	for _, want := range []string{"Subject: pulk: parcel from stn for home (Vindur Deep)\r\n", "Date: Tue, 05 Jan 2027 08:00:00 +0000\r\n", "Auto-Submitted: auto-generated\r\n", "    pulk bundle take 0b41a87d-04bc4484-"} {
		if !bytes.Contains(head, []byte(want)) {
			t.Errorf("no %q in\n%s", want, head)
		}
	}
	found, err := Parcels(bytes.NewReader(message))
	if err != nil || len(found) != 1 || !bytes.Equal(found[0].Data, parcel(1000)) || found[0].Name != letterOf(parcel(1000)).Name.String() {
		t.Errorf("read back: %v, %v", found, err)
	}
}

// python runs a script of Python's own mail library, which was written without any
// look at ours.
func python(t *testing.T, script string, input []byte) []byte {
	t.Helper()
	path, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("no python3 here to compare with")
	}
	command := exec.Command(path, "-c", script)
	command.Stdin = bytes.NewReader(input)
	var complaints bytes.Buffer
	command.Stderr = &complaints
	out, err := command.Output()
	if err != nil {
		t.Fatalf("python3: %v\n%s", err, complaints.Bytes())
	}
	return out
}

// TestPythonReads has another program read what we write.
func TestPythonReads(t *testing.T) {
	data := parcel(70_000)
	out := python(t, `
import email, email.policy, json, sys
m = email.message_from_bytes(sys.stdin.buffer.read(), policy=email.policy.default)
parts = list(m.iter_attachments())
defects = [str(d) for p in m.walk() for d in p.defects]
json.dump({"from": str(m["from"].addresses[0].display_name), "to": m["to"].addresses[0].addr_spec, "subject": m["subject"], "date": m["date"].datetime.isoformat(),
  "text": m.get_body().get_content(), "name": parts[0].get_filename(), "type": parts[0].get_content_type(), "count": len(parts), "hex": parts[0].get_content().hex(), "defects": defects}, sys.stdout)
`, letterOf(data).Bytes())
	var got struct {
		From, To, Subject, Date, Text, Name, Type, Hex string
		Count                                          int
		Defects                                        []string
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	if got.From != "Vindur Plateau Camp, hut á" || got.To != "pulk@home.example" || got.Subject != "pulk: parcel from stn for home (Vindur Deep)" || got.Date != "2027-01-05T08:00:00+00:00" {
		t.Errorf("headers: %+v", got)
	}
	if got.Count != 1 || got.Name != nameAt(home, data) || got.Type != "application/octet-stream" || got.Hex != hex.EncodeToString(data) {
		t.Errorf("attachment: %d, %s, %s, %d digits", got.Count, got.Name, got.Type, len(got.Hex))
	}
	if len(got.Defects) > 0 || !strings.HasPrefix(got.Text, "This mail carries records") {
		t.Errorf("defects %v, text %q", got.Defects, got.Text)
	}
}

// TestPythonWrites reads what another program writes: two parcels and a picture, a
// name that needs RFC 2231, quoted-printable, a mail forwarded within a mail.
func TestPythonWrites(t *testing.T) {
	first, second := parcel(500), parcel(200)
	out := python(t, fmt.Sprintf(`
import sys
from email.message import EmailMessage
inner = EmailMessage()
inner["From"], inner["To"], inner["Subject"] = "Mirre Aalto <mirre@stn.example>", "home@home.example", "zwei Bündel"
inner.set_content("Grüße vom Plateau\n" * 40)
inner.add_attachment(bytes.fromhex(%q), maintype="application", subtype="octet-stream", filename="bündel für zu Hause.bin")
inner.add_attachment(b"\x89PNG" + bytes(100), maintype="image", subtype="png", filename="hut.png")
inner.add_attachment(bytes.fromhex(%q), maintype="application", subtype="octet-stream", filename=%q, cte="quoted-printable")
outer = EmailMessage()
outer["From"], outer["To"], outer["Subject"] = "ida@stn.example", "home@home.example", "Fwd"
outer.set_content("see below")
outer.add_attachment(inner)
sys.stdout.buffer.write(outer.as_bytes())
`, hex.EncodeToString(first), hex.EncodeToString(second), nameAt(home, second)), nil)
	found, err := Parcels(bytes.NewReader(out))
	if err != nil || len(found) != 2 {
		t.Fatalf("%d found, %v in\n%s", len(found), err, out)
	}
	if found[0].Name != "bündel für zu Hause.bin" || !bytes.Equal(found[0].Data, first) {
		t.Errorf("first: %s, %d bytes", found[0].Name, len(found[0].Data))
	}
	if found[1].Name != nameAt(home, second) || !bytes.Equal(found[1].Data, second) {
		t.Errorf("second: %s, %x", found[1].Name, found[1].Data)
	}
}
