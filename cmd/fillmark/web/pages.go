// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import "net/http"

type pages struct{}

func parsePages() (pages, error) { return pages{}, nil }

func (s *server) page(handle func(http.ResponseWriter, *http.Request) error) http.Handler {
	return http.NotFoundHandler()
}

func (s *server) pageDue(http.ResponseWriter, *http.Request) error     { return nil }
func (s *server) pageLoops(http.ResponseWriter, *http.Request) error   { return nil }
func (s *server) pageLoop(http.ResponseWriter, *http.Request) error    { return nil }
func (s *server) pageOwner(http.ResponseWriter, *http.Request) error   { return nil }
func (s *server) answerOwner(http.ResponseWriter, *http.Request) error { return nil }
func (s *server) pageStop(http.ResponseWriter, *http.Request) error    { return nil }
func (s *server) actStop(http.ResponseWriter, *http.Request) error     { return nil }
func (s *server) static(http.ResponseWriter, *http.Request)            {}
