// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"slices"
	"strings"
)

// Notice is one thing that an owner can notice about a machine, in their words.
type Notice string

// The notices. The last two need a loop that can be looked into.
const (
	NoticeWet    Notice = "drops, wet spots or crusts"
	NoticeNoise  Notice = "a new noise"
	NoticeSmell  Notice = "a new smell"
	NoticeHot    Notice = "hotter than usual, or it switches itself off"
	NoticeAir    Notice = "less air comes out"
	NoticeLevel  Notice = "the liquid stands below the mark"
	NoticeLiquid Notice = "the liquid is brown, green, cloudy or has bits in it"
)

// Notices lists what shows on a loop, the most urgent first: a sealed
// one shows neither level nor liquid.
func Notices(sealed bool) []Notice {
	noticed := []Notice{NoticeWet, NoticeNoise, NoticeSmell, NoticeHot, NoticeAir}
	if !sealed {
		noticed = append(noticed, NoticeLevel, NoticeLiquid)
	}
	return noticed
}

// NoticesOn returns those that show on such a loop, in the order of
// [Notices] and each once.
func NoticesOn(sealed bool, noticed []Notice) []Notice {
	return slices.DeleteFunc(Notices(sealed), func(s Notice) bool { return !slices.Contains(noticed, s) })
}

// Sentence is the notice beginning with a capital letter.
func (n Notice) Sentence() string {
	return strings.ToUpper(string(n[:1])) + string(n[1:])
}
