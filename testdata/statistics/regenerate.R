# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
#
# Computes every expected figure of this folder again, with R and its survival
# package (Debian: r-base-core, r-cran-survival), by other code than the
# program's. Reads the data_*.csv beside it.
#
#   Rscript regenerate.R OUTDIR
#
# survreg stops where the likelihood no longer changes in its last digits; on a
# flat one that place depends on the BLAS that R is linked to, so the optimum is
# polished here by Newton's method, and the variances are taken there.

suppressPackageStartupMessages(library(survival))
args <- commandArgs(trailingOnly = TRUE)
if (length(args) != 1) stop("usage: Rscript regenerate.R OUTDIR")
out <- args[1]
here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(), value = TRUE)))

take <- function(name) {
  read.csv(file.path(here, name), stringsAsFactors = FALSE, na.strings = "NA",
           colClasses = c(dataset = "character"), check.names = FALSE)
}
put <- function(frame, name) {
  for (column in names(frame)) if (is.double(frame[[column]])) {
    frame[[column]] <- ifelse(is.na(frame[[column]]), "NA", sprintf("%.17g", frame[[column]]))
  }
  frame[] <- lapply(frame, function(v) sub("^inf$", "Inf", sub("^-inf$", "-Inf", as.character(v))))
  write.csv(frame, file.path(out, name), row.names = FALSE, quote = FALSE)
}
spread <- function(frame) frame[rep(seq_len(nrow(frame)), frame$count), ]
root <- function(f, lo, hi) uniroot(f, c(lo, hi), tol = 1e-15, maxiter = 2000)$root

right <- spread(take("data_right.csv"))
right$group <- as.character(right$group)
interval <- take("data_interval.csv")
names_right <- unique(paste(right$dataset, right$group, sep = ":"))
pick <- function(name) {
  part <- strsplit(name, ":")[[1]]
  right[right$dataset == part[1] & right$group == part[2], ]
}
surv_of <- function(d) if (any(d$entry > 0)) Surv(d$entry, d$time, d$status) else Surv(d$time, d$status)

# Kaplan-Meier ---------------------------------------------------------------
km <- NULL
summaries <- NULL
for (name in names_right) {
  d <- pick(name)
  s <- surv_of(d)
  f <- survfit(s ~ 1, conf.type = "log-log")
  frame <- data.frame(dataset = d$dataset[1], group = d$group[1], time = as.double(f$time), n_risk = as.integer(f$n.risk),
    n_event = as.integer(f$n.event), n_censor = as.integer(f$n.censor), surv = f$surv, se_greenwood = f$surv * f$std.err,
    lo_loglog = f$lower, hi_loglog = f$upper, na_cumhaz = f$cumhaz, na_se = f$std.chaz)
  km <- rbind(km, frame)
  head <- data.frame(dataset = d$dataset[1], group = d$group[1], n = nrow(d), events = as.integer(sum(d$status)))
  q <- quantile(f, c(0.1, 0.25, 0.5))
  summaries <- rbind(summaries, cbind(head, stat = paste0("Q", c(0.1, 0.25, 0.5)), est = as.double(q$quantile), lower = as.double(q$lower), upper = as.double(q$upper)))
  if (!any(d$entry > 0)) for (until in signif(max(d$time) * c(0.5, 0.9), 3)) {
    table <- summary(f, rmean = until)$table
    summaries <- rbind(summaries, cbind(head, stat = paste0("RMST", until),
      est = as.double(table[["rmean"]]), lower = as.double(table[["se(rmean)"]]), upper = NA_real_))
  }
}
put(km, "km.csv")
put(summaries, "km_summary.csv")

# Log-rank -------------------------------------------------------------------
logrank <- NULL
strata <- take("data_strata.csv")
row_of <- function(dataset, f, group) {
  obs <- if (is.matrix(f$obs)) rowSums(f$obs) else f$obs
  exp <- if (is.matrix(f$exp)) rowSums(f$exp) else f$exp
  data.frame(dataset = dataset, group1 = group, obs1 = obs[1], exp1 = exp[1], obs2 = obs[2], exp2 = exp[2],
    var11 = f$var[1, 1], chisq = f$chisq, df = 1L, p = pchisq(f$chisq, 1, lower.tail = FALSE))
}
for (dataset in c("aml", "leuk6mp", "lung", "veteran")) {
  d <- right[right$dataset == dataset, ]
  f <- survdiff(Surv(time, status) ~ group, data = d)
  logrank <- rbind(logrank, row_of(dataset, f, sort(unique(d$group))[1]))
}
put(logrank, "logrank.csv")
f <- survdiff(Surv(time, status) ~ stratum, data = strata)
put(data.frame(dataset = "strata", group = sort(unique(strata$stratum)), n = as.integer(f$n), obs = f$obs, exp = f$exp,
  chisq = f$chisq, p = pchisq(f$chisq, 3, lower.tail = FALSE)), "logrank_k.csv")

# Comparison at the same ages: the ratio is Cox's with Breslow's ties; the number
# of the group's failures is a sum of draws, each with the group's share of
# those at risk.
compared <- NULL
compare <- function(name, d, group, stratum = rep(1, nrow(d))) {
  first <- d$group == group
  entry <- if (is.null(d$entry)) rep(0, nrow(d)) else d$entry
  pi <- NULL
  for (s in unique(stratum)) for (t in d$time[d$status == 1 & stratum == s]) {
    risk <- stratum == s & entry < t & d$time >= t
    pi <- c(pi, sum(risk & first) / sum(risk))
  }
  k <- sum(first & d$status == 1)
  weights <- function(l) {
    p <- 1
    for (x in pi) { q <- x * exp(l) / (1 - x + x * exp(l)); p <- c(p * (1 - q), 0) + c(0, p * q) }
    p
  }
  less <- function(l) sum(weights(l)[0:k + 1]); more <- function(l) sum(weights(l)[k:length(pi) + 1])
  surv <- if (any(entry > 0)) Surv(entry, d$time, d$status) else Surv(d$time, d$status)
  f <- coxph(surv ~ first + strata(stratum), ties = "breslow", control = coxph.control(eps = 1e-14, toler.chol = 1e-14, iter.max = 100))
  data.frame(dataset = name, group = group, failures = k, expected = sum(pi), ratio = exp(coef(f))[[1]],
    lower = exp(root(function(l) more(l) - 0.025, -10, 10)), upper = exp(root(function(l) less(l) - 0.025, -10, 10)), p = min(1, 2 * min(less(0), more(0))))
}
for (dataset in c("aml", "leuk6mp", "lung", "veteran", "channing")) {
  d <- right[right$dataset == dataset, ]
  compared <- rbind(compared, compare(dataset, d, sort(unique(d$group))[1]))
}
compared <- rbind(compared, compare("strata", strata, "trt1", strata$stratum))
put(compared, "compare.csv")

# Aalen-Johansen -------------------------------------------------------------
causes <- take("data_causes.csv")
f <- survfit(Surv(time, factor(cause, levels = c("censored", "clog", "leak"))) ~ 1, data = causes)
cif <- NULL
for (cause in c("clog", "leak")) {
  j <- which(f$states == cause)
  cif <- rbind(cif, data.frame(dataset = "causes", cause = cause, time = as.double(f$time), cif = f$pstate[, j], se = f$std.err[, j]))
}
put(cif, "aalen_johansen.csv")

# Weibull --------------------------------------------------------------------
weibull_names <- c("aml:Maintained", "aml:Nonmaintained", "leuk6mp:placebo", "leuk6mp:6MP", "lung:sex1", "lung:sex2", "veteran:trt1",
  "genfan:all", "bearingcage:all", "lzbearing:all", "heatexchanger", "turbine", "cracks", "cosmesis_rt", "loops_syn")
as_interval <- function(name) {
  if (grepl(":", name)) {
    d <- pick(name)
    return(data.frame(lower = d$time, upper = ifelse(d$status == 1, d$time, Inf), count = 1))
  }
  interval[interval$dataset == name, ]
}
loglik_of <- function(d) function(mu, sigma) {
  h <- function(t) exp((log(t) - mu) / sigma)
  exact <- d$lower == d$upper
  z <- (log(d$lower) - mu) / sigma
  value <- numeric(nrow(d))
  value[exact] <- (z - exp(z) - log(sigma) - log(d$lower))[exact]
  hl <- h(d$lower); hu <- h(d$upper)
  value[!exact] <- (-hl + log(-expm1(-(hu - hl))))[!exact]
  sum(d$count * value)
}
# The contributions of an exact, a right, a left and an interval-censored age
# with gradient and Hessian in mu and log(sigma), differentiated by R itself.
terms <- lapply(list(
  exact = quote((log(a) - m) / exp(s) - exp((log(a) - m) / exp(s)) - s - log(a)),
  right = quote(-exp((log(a) - m) / exp(s))),
  left = quote(log(-expm1(-exp((log(b) - m) / exp(s))))),
  interval = quote(-exp((log(a) - m) / exp(s)) + log(-expm1(exp((log(a) - m) / exp(s)) - exp((log(b) - m) / exp(s)))))),
  function(term) deriv(term, c("m", "s"), function(m, s, a, b) NULL, hessian = TRUE))
kind_of <- function(d) ifelse(d$lower == d$upper, "exact", ifelse(is.infinite(d$upper), "right", ifelse(d$lower == 0, "left", "interval")))
# The optimum near mu and sigma, and the inverse of the observed information.
polish <- function(d, mu, sigma) {
  d <- d[d$lower > 0 | is.finite(d$upper), ]  # what is good at 0 tells nothing
  at <- c(mu, log(sigma)); kind <- kind_of(d)
  for (round in 1:50) {
    g <- c(0, 0); H <- matrix(0, 2, 2)
    for (k in unique(kind)) {
      x <- d[kind == k, ]
      v <- terms[[k]](at[1], at[2], x$lower, x$upper)
      g <- g + colSums(x$count * attr(v, "gradient"))
      H <- H + apply(x$count * attr(v, "hessian"), 2:3, sum)
    }
    step <- solve(H, g)
    at <- at - step
    if (max(abs(step)) < 1e-12) return(list(mu = at[[1]], sigma = exp(at[[2]]), var = solve(-H)))
  }
  stop("the optimum was not found")
}
mle <- NULL; quantiles <- NULL; lower <- NULL
for (name in weibull_names) {
  d <- as_interval(name)
  x <- d[rep(seq_len(nrow(d)), d$count), ]
  s <- Surv(ifelse(x$lower == 0, NA, x$lower), ifelse(is.infinite(x$upper), NA, x$upper), type = "interval2")
  fit <- survreg(s ~ 1, dist = "weibull", control = survreg.control(rel.tolerance = 1e-14, maxiter = 200))
  ll <- loglik_of(d)
  fit <- polish(d, fit$coefficients[[1]], fit$scale)
  mu <- fit$mu; sigma <- fit$sigma
  best <- ll(mu, sigma)
  v <- fit$var
  z <- qnorm(0.975)
  over_mu <- function(sigma) optimize(function(m) ll(m, sigma), mu + c(-12, 12) * max(sigma, 1), maximum = TRUE, tol = 1e-12)$objective
  over_sigma <- function(y, c) optimize(function(s) ll(y - exp(s) * c, exp(s)), log(sigma) + c(-3, 3), maximum = TRUE, tol = 1e-12)$objective
  q <- qchisq(0.95, 1)
  miss <- function(s) 2 * (best - over_mu(exp(s))) - q
  low <- exp(-root(miss, log(sigma), log(sigma) + 4)); high <- exp(-root(miss, log(sigma) - 4, log(sigma)))
  lrt <- 2 * (best - over_mu(1))
  kind <- kind_of(x)
  sub <- sub(":all$", "", name)
  mle <- rbind(mle, data.frame(dataset = sub, n = nrow(x), n_exact = sum(kind == "exact"), n_right = sum(kind == "right"),
    n_left = sum(kind == "left"), n_interval = sum(kind == "interval"), beta = 1 / sigma, eta = exp(mu), loglik = best,
    var_mu = v[1, 1], cov_mu_logsigma = v[1, 2], var_logsigma = v[2, 2],
    beta_lo_lr = low, beta_hi_lr = high,
    lrt_beta1 = lrt, lrt_p = pchisq(lrt, 1, lower.tail = FALSE)))
  failures <- sum(kind != "right")
  for (p in c(0.01, 0.05, 0.1, 0.5)) {
    c <- log(-log1p(-p)); y <- mu + sigma * c
    se <- sqrt(v[1, 1] + 2 * sigma * c * v[1, 2] + (sigma * c)^2 * v[2, 2])
    away <- function(target, sign) {
      g <- function(at) 2 * (best - over_sigma(at, c)) - target
      far <- 1.5 * se
      while (g(y + sign * far) < 0) far <- far * 1.5
      exp(root(g, min(y, y + sign * far), max(y, y + sign * far)))
    }
    quantiles <- rbind(quantiles, data.frame(dataset = sub, p = p, tp = exp(y), lo95_lr = away(q, -1), hi95_lr = away(q, 1), lower_onesided95_lr = away(qchisq(0.9, 1), -1)))
    if (p %in% c(0.05, 0.1) && failures >= 5) {
      lower <- rbind(lower, data.frame(dataset = sub, failures = failures, p = p, lower95_lr_t = away(qt(0.95, failures - 1)^2, -1)))
    }
  }
}
put(mle, "weibull_mle.csv"); put(quantiles, "weibull_quantile.csv"); put(lower, "blife_lower_lrt.csv")

# Turnbull: plain self-consistency, run to the end ---------------------------
masses <- NULL; logliks <- NULL; survivals <- NULL
for (name in unique(interval$dataset)) {
  d <- interval[interval$dataset == name, ]
  exact <- d$lower == d$upper
  # Ends as (age, 0 a known failure begins, 1 an interval ends, 2 one begins)
  ends <- data.frame(age = c(d$lower, d$upper), phase = c(ifelse(exact, 0, 2), rep(1, nrow(d))))
  ends <- ends[order(ends$age, ends$phase), ]
  cell <- which(head(ends$phase, -1) != 1 & tail(ends$phase, -1) == 1)
  left <- ends$age[cell]; phase <- ends$phase[cell]; to <- ends$age[cell + 1]
  covers <- outer(seq_len(nrow(d)), seq_along(left), function(i, j) {
    begins <- ifelse(exact[i], 0, 2)
    (left[j] > d$lower[i] | (left[j] == d$lower[i] & phase[j] >= begins)) & to[j] <= d$upper[i]
  }) + 0
  p <- rep(1 / length(left), length(left)); n <- sum(d$count)
  for (step in 1:400000) {
    weight <- as.vector(crossprod(covers, d$count / (covers %*% p))) / n
    if (max(weight) - 1 < 1e-10) break
    p <- p * weight
  }
  keep <- p > 1e-7
  masses <- rbind(masses, data.frame(dataset = name, left = left[keep], right = to[keep], p = p[keep], F_right = cumsum(p)[keep]))
  best <- sum(d$count * log(covers %*% p))
  logliks <- rbind(logliks, data.frame(dataset = name, loglik = best))
  # Limits of survival after an age: the share failed by it is held, and the
  # likelihood maximised over masses at every age named and between any two.
  # It may fall as far as a binomial of the lives known on either side does at
  # the limits of Clopper and Pearson, at least as far as chi-squared's.
  if (name %in% c("loops_syn", "cracks", "heatexchanger")) for (age in to[keep & is.finite(to)][unique(c(1, 3, sum(keep & is.finite(to))))]) {
    ages <- sort(unique(c(0, d$lower, d$upper[is.finite(d$upper)])))
    places <- sort(c(ages, head(ages, -1) + diff(ages) / 2, 2 * max(ages)))
    all <- outer(seq_len(nrow(d)), seq_along(places), function(i, j)
      ifelse(exact[i], places[j] == d$lower[i], places[j] > d$lower[i] & places[j] <= d$upper[i])) + 0
    below <- places <= age
    fall <- function(f) {
      q <- ifelse(below, f / sum(below), (1 - f) / sum(!below)); was <- -Inf
      for (step in 1:20000) {
        held <- as.vector(all %*% q)
        now <- sum(d$count * log(held))
        if (now - was < 1e-11) break
        was <- now
        q <- q * as.vector(crossprod(all, d$count / held))
        q <- ifelse(below, q * f / sum(q[below]), if (sum(q[!below]) > 0) q * (1 - f) / sum(q[!below]) else 0)
      }
      2 * (best - now)
    }
    failed <- sum(d$count[d$upper <= age]); good <- sum(d$count[d$lower >= age & d$upper > age])
    allowed <- function(few, many) {
      u <- qbeta(0.975, few + 1, many)
      max(qchisq(0.95, 1), -2 * (few * log(if (few > 0) u / (few / (few + many)) else 1) + many * log((1 - u) / (many / (few + many)))))
    }
    f <- sum(p[to <= age])
    solve <- function(target, lo, hi) uniroot(function(x) fall(x) - target, c(lo, hi), tol = 1e-7)$root
    survivals <- rbind(survivals, data.frame(dataset = name, right = age, survival = 1 - f,
      lower = if (good == 0) 0 else 1 - solve(allowed(failed, good), f, 1 - 1e-9),
      upper = if (failed == 0) 1 else 1 - solve(allowed(good, failed), 1e-9, f)))
  }
}
put(masses, "turnbull.csv"); put(logliks, "turnbull_loglik.csv")
put(survivals, "turnbull_limits.csv")

# Interval setting -----------------------------------------------------------
weibayes <- NULL
for (case in list(list("zero", c(6, 9, 12, 12, 15, 18, 18, 24, 24, 30, 36, 40), 0), list("two", c(6, 9, 12, 12, 15, 18, 18, 24, 24, 30, 36, 40, 19, 27), 2)))
  for (beta in c(1, 1.5, 2, 3)) for (conf in c(0.5, 0.9, 0.95)) {
    eta <- (2 * sum(case[[2]]^beta) / qchisq(conf, 2 * case[[3]] + 2))^(1 / beta)
    weibayes <- rbind(weibayes, data.frame(id = case[[1]], times = paste(case[[2]], collapse = " "), failures = as.integer(case[[3]]),
      beta = beta, conf = conf, eta_lower = eta, B10_lower = qweibull(0.1, beta, eta)))
  }
put(weibayes, "weibayes.csv")

samples <- NULL
for (p in c(0.05, 0.1, 0.2)) for (conf in c(0.5, 0.8, 0.9, 0.95)) {
  n <- 1L
  while (pbinom(0, n, p) > 1 - conf + 1e-12) n <- n + 1L
  samples <- rbind(samples, data.frame(p = p, conf = conf, n = n))
}
put(samples, "zero_failure_n.csv")

writeLines(c(R.version.string, paste("survival", packageVersion("survival")),
  "made by regenerate.R from the data_*.csv beside it"), file.path(out, "versions.txt"))
