// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"fmt"
	"math"
	"strings"

	"fillmark/loops/findings"
)

func ExampleAnalyse() {
	lives, err := findings.ReadCSV(strings.NewReader(`lower,upper,count
14,14,1
16,20,2
18,,20
24,,9
22,26,3
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	report := findings.Analyse(lives, findings.FromFile)
	for _, answer := range report.Answers {
		if answer.Question == "b10" {
			fmt.Println(answer.Sentence)
			fmt.Println("Firmer with", answer.Firmer)
		}
	}
	// Output:
	// With 95 % confidence nine in ten loops are still good at age 16.6. Best estimate of the age by which one in ten has failed: 20.1.
	// Firmer with more failures, or more loops known good at older ages
}

func ExampleReadCSV() {
	_, err := findings.ReadCSV(strings.NewReader("lower,upper,count\n12,15,1\n5,3,1\n"))
	fmt.Println(err)
	// Output: line 3, column upper: "3": it is below lower, 5; upper is the age at which the loop was found failed
}

func ExamplePlanLooks() {
	// One pump and one clog in 81 loop-months, 310 if all unseen loops are good.
	plan, err := findings.PlanLooks([]findings.Seen{{Cause: "clog", Failures: 1, Warning: 6}, {Cause: "pump", Failures: 1, Warning: 2}}, 81, 310, 12, 3, findings.DefaultCosts())
	fmt.Printf("%.1f to %.1f months, so %.0f; %.0f looks in ten loops a year prevent about %.1f failures %v\n", plan.Early, plan.Late, plan.Age, plan.Looks, plan.Prevented, err)
	// Output: 9.7 to 24.0 months, so 12; 10 looks in ten loops a year prevent about 0.7 failures <nil>
}

func ExampleExplore() {
	failed := findings.Life{Lower: 14, Upper: 14, Count: 1}
	good := findings.Life{Lower: 24, Upper: math.Inf(1), Count: 1}
	with, others := good, good
	with.Count, others.Count = 6, 14
	answers, err := findings.Explore([]findings.Trait{
		{Name: "soft tubing", Cases: []findings.Case{{Life: failed, With: true}, {Life: with, With: true}, {Life: others}}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, refused := range answers[0].Refused {
		fmt.Println(refused.Why)
	}
	// Output: no result could have been significant: with 1 failure at these ages the smallest p that can be had is 0.67. Missing: more failures.
}

func ExampleWatch_Test() {
	watch := findings.Watch{Trait: "soft tubing", Registered: "2026-03-01", ReadAt: 5}
	failed, seen := findings.Life{Lower: 14, Upper: 14, Count: 1}.From(11) // 11 months old when the watch began
	answer, err := watch.Test([]findings.Case{{Life: failed, With: true}, {Life: findings.Life{Lower: 24, Entry: 20, Upper: math.Inf(1), Count: 1}}})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(seen, answer.Refused[0].Why)
	// Output: true the watch is read at 5 failures after 2026-03-01, and 1 has come. Missing: 4 failures more.
}
