// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
)

// dewSource is where the formula of the dew point is from.
const dewSource = "secondary report of a guideline for liquid-cooled rooms"

// benchDewCommand tells a wet tube from a leak.
func (a *app) benchDewCommand() *cobra.Command {
	room, humidity := chemistry.Celsius(0), 0.0
	var tube *chemistry.Celsius
	cmd := &cobra.Command{
		Use: "dew --room TEMPERATURE --humidity PERCENT", Short: "Dew or a leak: the temperature below which a dry tube gets wet",
		Example: "  fillmark bench dew --room 25C --humidity 50% --tube 12C",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			dew, err := inspection.DewPoint(room, humidity)
			if err != nil {
				return err
			}
			answer := struct {
				DewPointC float64 `json:"dew_point_c"`
				WetByDew  *bool   `json:"wet_by_dew"` // null where no tube was given
				Source    string  `json:"source"`
			}{DewPointC: float64(dew), Source: dewSource}
			says := fmt.Sprintf("The dew point is %s: what is colder gets wet from the air, and that is no leak.", dew)
			if tube != nil {
				answer.WetByDew = new(*tube < dew)
				says = fmt.Sprintf("The dew point is %s. At %s the air makes nothing wet: wipe it dry, and look for a leak where it gets wet again.", dew, *tube)
				if *tube < dew {
					says = fmt.Sprintf("The dew point is %s. At %s the air itself makes it wet. That does not rule a leak out: warm it above the dew point and look again.", dew, *tube)
				}
			}
			return a.print(answer, func(out *printer) { out.paragraph("", "", says+" Source: "+dewSource+".") })
		},
	}
	f := cmd.Flags()
	need(f, &room, chemistry.ParseCelsius, "room", "TEMPERATURE", "air of the room")
	need(f, &humidity, share, "humidity", "PERCENT", "relative humidity of the air")
	may(f, &tube, chemistry.ParseCelsius, "tube", "TEMPERATURE", "what got wet")
	needFlags(cmd, "room", "humidity")
	return cmd
}
