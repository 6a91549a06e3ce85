// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/loops"
)

func TestFaults(t *testing.T) {
	t.Parallel()
	var f loops.Faults
	f.Add(nil)
	assert.False(t, f.Any())
	assert.NoError(t, f.Err())
	plain := errors.New("one")
	f.Add(errors.Join(plain, &loops.InvalidError{Field: strings.Repeat("é", 300), Value: strings.Repeat("é", 300), Reason: "short"}))
	assert.True(t, f.Any())
	assert.ErrorIs(t, f.Err(), plain)
	assert.Less(t, len(f.Err().Error()), 2*210+60)
	for i := range 40 {
		f.Add(fmt.Errorf("fault %d", i))
	}
	assert.True(t, f.Full(3))
	text := f.Err().Error()
	assert.Equal(t, loops.MostFaults+1, len(strings.Split(text, "\n")))
	assert.Contains(t, text, "fault 17")
	assert.NotContains(t, text, "fault 18")
	assert.Contains(t, text, `"25 more"`)

	var many []error
	for range 1000 {
		many = append(many, errors.New("x"))
	}
	assert.Contains(t, loops.Bounded(errors.Join(many...)).Error(), `"979 more"`)
	assert.Equal(t, text, loops.Bounded(f.Err()).Error(), "bounded once")
	assert.Equal(t, "one", loops.Bounded(plain).Error())
}
