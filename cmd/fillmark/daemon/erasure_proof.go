// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/backups"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/photos"
	"fillmark/notify"
)

// prove looks for the words wherever Fillmark keeps something, and writes the
// certificate of what it found.
func (k keeper) prove(ctx context.Context, id loops.OwnerID, at time.Time, words []acts.Word) (*web.ErasureProof, error) {
	s, err := k.seek(id, words)
	if err != nil {
		return nil, err
	}
	p := &web.ErasureProof{
		Number: id, At: at, Texts: map[string]int{}, Short: s.short, Shared: s.shared,
		Left: []web.LeftPlace{}, Backups: []web.ErasableBackup{}, Elsewhere: k.elsewhere(),
	}
	for _, w := range s.words {
		p.Texts[w.Field]++
	}
	for _, look := range []func(context.Context, sought, *web.ErasureProof) error{k.inRegister, k.inFile, k.inPhotos, k.inMail} {
		if err := look(ctx, s, p); err != nil {
			return nil, err
		}
	}
	if p.Backups, err = k.backups(at); err != nil {
		return nil, err
	}
	p.Clear = len(p.Left) == 0
	return p, nil
}

// inRegister looks at every key and every text of every record.
func (k keeper) inRegister(ctx context.Context, s sought, p *web.ErasureProof) error {
	found, looked, err := k.Traces(ctx, loops.NewPhrases(s.phrases()), notify.Texts)
	if err != nil {
		return err
	}
	p.Searched = append(p.Searched, web.SearchedPlace{Place: "the register, record by record", Count: int64(looked), Of: "text"})
	for _, t := range found {
		place, how := k.placeOf(t.Bucket, t.Key)
		p.Left = append(p.Left, web.LeftPlace{Place: place, Field: s.words[t.Phrase].Field, How: how})
	}
	return nil
}

// placeOf says in the words of the commands where a record is, and how a text
// goes from it.
func (k keeper) placeOf(bucket, key string) (place, how string) {
	loop, entry, _ := strings.Cut(key, "/")
	switch bucket {
	case "history":
		return "loop " + k.tagOf(loop) + ", entry " + entry, "see fillmark loop show --history " + k.tagOf(loop) + ": where it is about this owner, tell whoever looks after Fillmark"
	case "loops":
		return "loop " + k.tagOf(key), "fillmark loop edit " + k.tagOf(key)
	case "machines":
		return "machine " + key, "fillmark machine edit " + key
	case "containers":
		return "container " + key, "fillmark shelf edit " + key
	case "owners":
		return "owner " + key, "fillmark owner edit " + key + ", where it is not about that owner"
	case "messages", "bodies":
		return "mail " + key, fmt.Sprintf("mail to somebody else; its text is deleted %d days after it was written", int(bodiesKept.Hours()/24))
	case "suppressed":
		return "the addresses that get no mail", "fillmark outbox allow, with the address that it lists"
	case "technicians":
		return "technician " + key, "fillmark technician remove"
	}
	return bucket + " " + key, "no command changes it: see whether it is about this owner"
}

// tagOf is the tag of a loop by its number.
func (k keeper) tagOf(number string) string {
	var id loops.LoopID
	if _, err := fmt.Sscan(number, &id); err != nil {
		return number
	}
	l, err := k.Loop(id)
	if err != nil {
		return number
	}
	return string(l.Tag)
}

// longEnough is how many characters a text has that means the same in bytes
// that nobody decoded.
const longEnough = 8

// inFile looks at the register's bytes, for what no record is read from any
// more.
func (k keeper) inFile(_ context.Context, s sought, p *web.ErasureProof) error {
	var sure []acts.Word
	for _, w := range s.words {
		known := slices.ContainsFunc(p.Left, func(l web.LeftPlace) bool { return l.Field == w.Field })
		if utf8.RuneCountInString(w.Text) >= longEnough && !known {
			sure = append(sure, w)
		}
	}
	if k.config.InDatabase() {
		return nil // it has none, see [keeper.elsewhere]
	}
	found, size, err := k.InFile(sought{words: sure}.phrases())
	if err != nil {
		return err
	}
	p.Searched = append(p.Searched, web.SearchedPlace{Place: "the register's file, byte by byte", Count: size, Of: "byte"})
	for _, i := range found {
		p.Left = append(p.Left, web.LeftPlace{Place: "pages of the register's file that nothing is read from", Field: sure[i].Field, How: "fillmark compact"})
	}
	return nil
}

// inPhotos looks for the files of photos that were the owner's, or may have been.
func (k keeper) inPhotos(_ context.Context, s sought, p *web.ErasureProof) error {
	kept, err := k.photos().List()
	if err != nil {
		return err
	}
	p.Searched = append(p.Searched, web.SearchedPlace{Place: "the photos beside the register, by name", Count: int64(len(kept)), Of: "file"})
	named, err := workshop.PhotosNamed(k.Store)
	if err != nil {
		return err
	}
	for _, f := range kept {
		if !named[f.Hash] { // of a form that was not sent, or of an erasure that was cut off
			p.Left = append(p.Left, web.LeftPlace{Place: "photo " + f.Hash[:8], Field: "photo", How: "no history names it, so it may be this owner's: fillmark compact, once it is a day old"})
		}
	}
	for _, w := range s.words {
		if slices.ContainsFunc(kept, func(f photos.Kept) bool { return f.Hash == w.Text }) {
			p.Left = append(p.Left, web.LeftPlace{Place: "photo " + w.Text[:8], Field: w.Field, How: "another history names it too; look at it"})
		}
	}
	return nil
}

// inMail looks at the mail in the folders that Fillmark writes to and reads
// from.
func (k keeper) inMail(ctx context.Context, s sought, p *web.ErasureProof) error {
	phrases := loops.NewPhrases(s.phrases())
	folders := []struct{ place, dir string }{{"the Maildir", k.config.maildir()}, {"the Maildir of mail that came back", k.config.Mail.BounceMaildir}}
	for _, f := range folders {
		if f.dir == "" {
			continue
		}
		looked := int64(0)
		err := notify.Maildir{Dir: f.dir}.Each(func(path string, raw []byte) error {
			looked++
			seen := map[int]bool{}
			for _, text := range append(notify.Texts(raw), filepath.Base(path)) {
				for _, i := range phrases.In(text) {
					if !seen[i] {
						p.Left = append(p.Left, web.LeftPlace{Place: path, Field: s.words[i].Field, How: "delete the file"})
					}
					seen[i] = true
				}
			}
			return ctx.Err()
		})
		if err != nil {
			return err
		}
		p.Searched = append(p.Searched, web.SearchedPlace{Place: f.place, Count: looked, Of: "mail"})
	}
	return nil
}

// backups lists those that were made before: each holds the owner. One that is
// past its day and not there any more is left out, and one that was rotated out.
func (k keeper) backups(at time.Time) ([]web.ErasableBackup, error) {
	known := []web.ErasableBackup{}
	today := loops.DayOf(at, k.config.Zone())
	removed, byFolder := map[string]bool{}, map[string][]backups.Made{}
	for line, err := range k.Audit() { // the newest first: what was removed comes before what was made
		if err != nil {
			return nil, err
		}
		switch {
		case line.Action == backupGone:
			removed[line.On] = true
			continue
		case line.Action != backupMade || removed[line.On]:
			continue
		}
		b := web.ErasableBackup{Folder: line.On, Made: loops.DayOf(line.At, k.config.Zone()), There: whole(line.On)}
		m, scheduled := backups.Read(line.On)
		if folder := filepath.Dir(line.On); scheduled && (folder == filepath.Clean(k.config.Backup.Folder) || folder == filepath.Clean(k.config.Backup.SecondFolder)) {
			byFolder[folder] = append(byFolder[folder], m)
		} else if k.config.Backup.KeptDays > 0 {
			b.Gone = b.Made.AddDays(k.config.Backup.KeptDays)
		}
		if b.There || b.Gone.IsZero() || !b.Gone.Before(today) {
			known = append(known, b)
		}
	}
	for folder, all := range byFolder {
		gone := k.goneBy(all)
		for i, b := range known {
			if m, ok := backups.Read(b.Folder); ok && filepath.Dir(b.Folder) == folder {
				known[i].Gone = gone[m.At]
			}
		}
	}
	return known, nil
}

// whole tells whether a backup is still at a path.
func whole(path string) bool {
	if strings.HasSuffix(path, backups.SealedEnding) {
		return backups.LooksSealed(path) == nil
	}
	_, err := os.Stat(filepath.Join(path, backups.Register))
	return err == nil
}

// elsewhere names what nobody but the workshop can look at.
func (k keeper) elsewhere() []string {
	all := []string{
		"copies of the register that were not made by fillmark backup, exports, and what was printed",
		"the owner's own mailbox",
		"the workshop's own mailbox, which Fillmark changes nothing in: what the owner wrote to it, photos too",
		"technicians' phones and computers: pages kept for where there is no line, and what was typed there and not sent yet",
	}
	if k.config.InDatabase() {
		all = append(all, "the database's own backups, and what its files still hold of rows that were deleted, until its VACUUM and the end of its log")
	}
	if k.config.Mail.Technician != "" {
		all = append(all, "the mailbox of mail.technician, for morning lists that were mailed to it")
	}
	if k.config.Mail.Transport == "smtp" {
		all = append(all, "the relay's own queue and log")
	}
	return all
}
