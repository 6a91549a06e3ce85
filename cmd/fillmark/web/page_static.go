// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"time"

	"fillmark/loops"
)

//go:embed static
var staticFiles embed.FS

// asset is one static file.
type asset struct {
	kind    string // its media type
	content []byte
}

// assets are the static files by the name they are served under, which
// carries a hash of the content: a new content has a new address, so that
// browsers may keep each for good. Those in a folder, which find each other by
// name, are served as they are: the folder's name carries their version.
type assets struct {
	byName map[string]asset
	served map[string]string // plain name → name with hash
}

func readAssets() (assets, error) {
	all := assets{byName: map[string]asset{}, served: map[string]string{}}
	err := fs.WalkDir(staticFiles, "static", func(file string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		content, err := fs.ReadFile(staticFiles, file)
		if err != nil {
			return err
		}
		plain := strings.TrimPrefix(file, "static/")
		name, ext := plain, path.Ext(plain)
		if !strings.Contains(plain, "/") { // a folder has its version in its name
			sum := sha256.Sum256(content)
			name = strings.TrimSuffix(plain, ext) + "." + hex.EncodeToString(sum[:8]) + ext
		}
		all.byName[name] = asset{mime.TypeByExtension(ext), content}
		all.served[plain] = name
		return nil
	})
	if err != nil {
		return assets{}, fmt.Errorf("static files: %w", err)
	}
	return all, nil
}

// address returns where the file with the plain name is served.
func (a assets) address(plain string) string { return "/static/" + a.served[plain] }

// static serves a file under its hashed name and under no other.
func (s *server) static(w http.ResponseWriter, r *http.Request) error {
	file, ok := s.pages.assets.byName[r.PathValue("name")]
	if !ok {
		return loops.ErrNotFound
	}
	w.Header().Set("Content-Type", file.kind)
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(file.content))
	return nil
}

// appManifest lets a phone or a desk keep the pages as an app of their own
// (W3C Web Application Manifest).
type appManifest struct {
	Name       string        `json:"name"`
	ShortName  string        `json:"short_name"`
	ID         string        `json:"id"`
	Start      string        `json:"start_url"`
	Scope      string        `json:"scope"`
	Display    string        `json:"display"`
	Background string        `json:"background_color"`
	Theme      string        `json:"theme_color"`
	Icons      []appIcon     `json:"icons"`
	Shortcuts  []appShortcut `json:"shortcuts"`
}

// appShortcut leads from a phone's home screen to a page.
type appShortcut struct {
	Name string `json:"name"`
	URL  string `json:"url"`
}

// appIcon is a drawing, so one is sharp at any size.
type appIcon struct {
	Src   string `json:"src"`
	Sizes string `json:"sizes"`
	Type  string `json:"type"`
}

// manifest says nothing of the workshop: whoever asks may read it.
func (s *server) manifest(w http.ResponseWriter, _ *http.Request) error {
	body, err := json.Marshal(appManifest{
		Name: "Fillmark", ShortName: "Fillmark", ID: "/", Start: "/", Scope: "/", Display: "standalone",
		Background: "#FBFAF6", Theme: "#16302E",
		Icons:     []appIcon{{s.pages.assets.address("mark.svg"), "any", "image/svg+xml"}},
		Shortcuts: []appShortcut{{"Scan", "/scan"}},
	})
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/manifest+json")
	_, err = w.Write(body)
	return err
}
