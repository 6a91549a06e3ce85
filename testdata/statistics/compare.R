# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
#
# Times R's survival package on a file of lives (lower,upper,count,group, all
# exact or right-censored): processor time, the best of three, without reading
# the file.
#
#   Rscript compare.R LIVES.csv

suppressPackageStartupMessages(library(survival))
d <- read.csv(commandArgs(trailingOnly = TRUE)[1])
time <- d$lower
status <- as.integer(!is.na(d$upper))
group <- d$group
best <- function(name, f) {
  cat(name, min(sapply(1:3, function(i) sum(system.time(f())[c("user.self", "sys.self")]))), "\n")
}
best("Kaplan-Meier", function() survfit(Surv(time, status) ~ 1, conf.type = "log-log"))
best("log-rank", function() survdiff(Surv(time, status) ~ group))
best("Weibull", function() survreg(Surv(time, status) ~ 1, dist = "weibull"))
