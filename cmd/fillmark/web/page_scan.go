// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// decoder reads QR codes in browsers that cannot by themselves. It is served as
// it was published: its files find each other by their names.
const (
	decoder     = "qr-0.7.0/decode.js"
	decoderWith = "qr-0.7.0/index.js"
)

// scanPage leads from a loop's label over the gap below its mark to the bottle
// that is to fill it. The verdict is the top-up check's, at its own address.
type scanPage struct {
	frame
	Form *form
	// Loop is the one whose label was scanned; nil before that.
	Loop *topupLoop
	// Empty tells that there is nothing in it to top up.
	Empty bool
	// Gap is how much is missing, in words; empty until it was said.
	Gap                  string
	Keys                 []string // the gaps that one press says, in ml
	Bottles              []scanBottle
	Elsewhere            string // the top-up check for what does not stand on the shelf
	Decoder, DecoderWith string
	Trust                bool // phones can be told to trust the bench
}

// scanBottle is one liquid at hand, and the check that pours it.
type scanBottle struct {
	Name, Holds, Left string
	Check             string
}

// Camera tells that the page looks for a label.
func (p scanPage) Camera() bool { return p.Loop == nil || p.Gap != "" }

// Wrong lists what is marked, as the page links to it.
func (p scanPage) Wrong() []field {
	var all []field
	for _, x := range []field{{ID: "code", Label: "Label"}, {ID: "room", Label: "Missing up to the mark, ml"}} {
		if x.Problem = p.Form.Problem(x.ID); x.Problem != "" {
			x.Value = shortened(p.Form.Typed(x.ID))
			all = append(all, x)
		}
	}
	return all
}

func (s *server) pageScan(w http.ResponseWriter, r *http.Request) error {
	p := scanPage{frame: s.newFrame(r, "Scan"), Form: newForm(r.URL.Query()), Trust: s.BenchAt != ""}
	p.Decoder, p.DecoderWith = s.pages.assets.address(decoder), s.pages.assets.address(decoderWith)
	leads, err := s.scan(r, &p)
	if err != nil {
		return err
	}
	if leads != "" {
		http.Redirect(w, r, leads, http.StatusFound)
		return nil
	}
	if p.Camera() {
		p.Scripts = append(p.Scripts, s.pages.assets.address("scan.js"))
	}
	status := http.StatusOK
	if !p.Form.OK() {
		status = http.StatusUnprocessableEntity
	}
	return s.render(w, status, "scan", p)
}

// scan goes on from what was scanned and said so far. It returns where a label
// leads; empty where the page stays.
func (s *server) scan(r *http.Request, p *scanPage) (leads string, err error) {
	f := p.Form
	if f.text("tag") == "" {
		return s.scanFirst(r, f)
	}
	file, err := s.scannedLoop(f, f.text("tag"))
	if file == nil {
		return "", err
	}
	p.Loop = topupLoopOf(*file)
	if p.Empty = file.Loop.State.Charge == nil; p.Empty {
		return "", nil
	}
	for _, gap := range gapsBeforehand() {
		p.Keys = append(p.Keys, quantityIn(gap.Millilitres()))
	}
	room := mayRead(f, "room", "ml", parseGap)
	if room == nil {
		if f.typed.Has("room") {
			f.blame("room", "what is missing up to the mark, such as 60")
		} else if lacks := file.Loop.State.Missing; lacks > 0 {
			f.offer("room", quantityIn(lacks.Millilitres()))
		}
		return "", nil
	}
	if *room == 0 {
		return "/topup?" + url.Values{"ask": {"yes"}, "tag": {string(file.Loop.Tag)}, "room": {"0"}}.Encode(), nil
	}
	if err := workshop.CheckRoom(*room, file.Loop.Volume); err != nil {
		return "", f.take(err, nil)
	}
	p.Gap = quantity(*room)
	if f.text("code") != "" {
		if leads, err = s.scanBottle(r, f, file.Loop.Tag); leads != "" || err != nil {
			return leads, err
		}
	}
	return "", s.bottles(p, *file)
}

// parseGap reads what is missing up to the mark. What is right is said in few
// words: whoever reads it has one hand free.
func parseGap(text string) (chemistry.Litre, error) {
	gap, err := chemistry.ParseLitre(text)
	if err != nil {
		return 0, &loops.InvalidError{Field: "room", Value: text, Reason: "a volume such as 60ml"}
	}
	return gap, nil
}

// scanFirst opens what the first label names.
func (s *server) scanFirst(r *http.Request, f *form) (leads string, err error) {
	code := f.text("code")
	if code == "" {
		return "", nil
	}
	tag, id, err := s.readLabel(r, code)
	if err != nil {
		return "", f.take(err, labelFields())
	}
	if id != 0 {
		c, err := s.scannedContainer(f, id)
		if c == nil {
			return "", err
		}
		return "/shelf/" + strconv.FormatUint(uint64(id), 10), nil
	}
	file, err := s.scannedLoop(f, string(tag))
	if file == nil {
		return "", err
	}
	return scanAddress(url.Values{"tag": {string(file.Loop.Tag)}}), nil
}

// scanBottle leads to the top-up check with what is in the bottle whose label
// was scanned for the loop.
func (s *server) scanBottle(r *http.Request, f *form, loop loops.Tag) (leads string, err error) {
	tag, id, err := s.readLabel(r, f.text("code"))
	switch {
	case err != nil:
		return "", f.take(err, labelFields())
	case tag == loop: // the camera still sees the label that led here
		return scanAddress(url.Values{"tag": {string(loop)}, "room": {f.text("room")}}), nil
	case tag != "":
		f.blame("code", "the label of a bottle; this one is of the loop "+string(tag))
		return "", nil
	}
	c, err := s.scannedContainer(f, id)
	if c == nil {
		return "", err
	}
	switch _, known := workshop.AtHand(*c); {
	case !known:
		f.blame("code", fmt.Sprintf("a bottle of coolant or water; nobody knows how strong No. %d is, or it is no coolant", id))
	case c.Left <= 0:
		f.blame("code", fmt.Sprintf("a bottle with something in it; by the record nothing is left in No. %d", id))
	default:
		return checkAddress(loop, f.text("room"), id), nil
	}
	return "", nil
}

// bottles lists what is at hand for the loop: what the job sheet judges
// beforehand, and all of it.
func (s *server) bottles(p *scanPage, file workshop.File) error {
	loop := file.Loop
	hand, err := s.handBeforehand(file)
	if err != nil {
		return err
	}
	room := p.Form.text("room")
	for _, h := range hand {
		b := scanBottle{Name: h.Name, Check: checkAddress(loop.Tag, room, h.Container)}
		if h.Container != 0 {
			b.Left = quantity(h.Available) + " left"
		}
		if h.Fluid.IsGlycol() {
			b.Holds = h.Fluid.Name() + ", " + strength(h.Mass, h.MassUncertainty)
		}
		p.Bottles = append(p.Bottles, b)
	}
	p.Elsewhere = "/topup?" + url.Values{"draft": {"yes"}, "tag": {string(loop.Tag)}, "room": {room}}.Encode()
	return nil
}

// checkAddress is the top-up check of one liquid: of a container, or of dilution
// water where there is none.
func checkAddress(tag loops.Tag, room string, id loops.ContainerID) string {
	liquid := "water"
	if id != 0 {
		liquid = containerChoice + strconv.FormatUint(uint64(id), 10)
	}
	return "/topup?" + url.Values{"ask": {"yes"}, "tag": {string(tag)}, "room": {room}, "liquid1": {liquid}}.Encode()
}

func scanAddress(query url.Values) string { return "/scan?" + query.Encode() }

// labelFields maps what is wrong with a label to the field that it comes from.
func labelFields() map[string]string {
	return map[string]string{"tag": "code", "container": "code"}
}

// scannedLoop finds the loop of a label; nil where the field is marked.
func (s *server) scannedLoop(f *form, text string) (*workshop.File, error) {
	tag, err := loops.ParseTag(text)
	if err != nil {
		return nil, f.take(err, labelFields())
	}
	file, err := s.Workshop.FileAtShelf(tag)
	if kindOf(err) == FailNotFound {
		f.blame("code", "a label of this register; no loop has this tag")
		return nil, nil
	}
	return &file, err
}

// scannedContainer finds the container of a label; nil where the field is marked.
func (s *server) scannedContainer(f *form, id loops.ContainerID) (*loops.Container, error) {
	c, err := s.Workshop.Container(id)
	if kindOf(err) == FailNotFound {
		f.blame("code", "a label of this shelf; no bottle has this number")
		return nil, nil
	}
	return &c, err
}

// What stands on a label: the path of the address in its code, and what
// somebody types off it, well or badly.
var (
	labelPath   = regexp.MustCompile(`^/(loops|shelf)/([^/]+)$`)
	typedTag    = regexp.MustCompile(`^[0-9A-Za-z -]{1,20}$`)
	typedNumber = regexp.MustCompile(`^(?i:no\.? ?)?([0-9]{1,5})$`)
)

// readLabel reads the address in the code of a label of ours, or what somebody
// typed off one: a tag or the number of a container. It returns a
// [loops.InvalidError] for anything else.
func (s *server) readLabel(r *http.Request, text string) (tag loops.Tag, id loops.ContainerID, err error) {
	if number := typedNumber.FindStringSubmatch(text); number != nil {
		id, err = loops.ParseContainer(number[1])
		return "", id, err
	}
	if typedTag.MatchString(text) {
		tag, err = loops.ParseTag(text)
		return tag, 0, err
	}
	at, err := url.Parse(text)
	if err != nil || at.Scheme != "https" && at.Scheme != "http" {
		return "", 0, notALabel(text, "this one says something else, and nothing was opened")
	}
	if !s.ownHost(r, at.Host) {
		return "", 0, notALabel(text, "this one is not of this workshop, and nothing was opened")
	}
	switch path := labelPath.FindStringSubmatch(strings.TrimPrefix(at.Path, s.labelsBelow())); {
	case path == nil:
		return "", 0, notALabel(text, "this address is another one, and nothing was opened")
	case path[1] == "shelf":
		id, err = loops.ParseContainer(path[2])
		return "", id, err
	default:
		tag, err = loops.ParseTag(path[2])
		return tag, 0, err
	}
}

func notALabel(text, why string) error {
	return &loops.InvalidError{Field: "code", Value: text, Reason: "the label of a loop or a bottle; " + why}
}

// ownHost tells whether a label leads to this bench, by any of its names.
func (s *server) ownHost(r *http.Request, host string) bool {
	name := hostName(host)
	return name != "" && (name == hostName(r.Host) || slices.Contains(s.ownHosts(), name))
}

// ownHosts are the names that labels have this bench by, besides the one that a
// request says.
func (s *server) ownHosts() []string {
	own := []string{}
	for _, host := range s.Hosts {
		own = append(own, hostName(host))
	}
	for _, base := range []string{s.BenchAt, s.Workshop.Settings().BaseURL} {
		if at, err := url.Parse(base); err == nil {
			own = append(own, hostName(at.Host))
		}
	}
	slices.Sort(own)
	return slices.DeleteFunc(slices.Compact(own), func(name string) bool { return name == "" })
}

// labelsBelow is the path below which labels have the pages: "/fm" where base_url
// is https://pages.example/fm, empty for most.
func (s *server) labelsBelow() string {
	at, err := url.Parse(s.Workshop.Settings().BaseURL)
	if err != nil {
		return ""
	}
	return strings.TrimSuffix(at.Path, "/")
}
