# SPDX-License-Identifier: GPL-3.0-or-later
# The case of physics_bench.c solved with R deSolve: all members in one vector, air made beforehand.
# usage: Rscript physics_desolve.R CASE
suppressMessages(if (!requireNamespace("deSolve", quietly = TRUE)) {
  cat("R package deSolve is not installed (Debian: r-cran-desolve): left out\n")
  quit(status = 0)
})
library(deSolve)
path <- commandArgs(trailingOnly = TRUE)[1]
numbers <- scan(path, quiet = TRUE, na.strings = "nan")
n <- numbers[1]
steps <- numbers[2]
names <- c("moisture", "water", "dry", "skin", "open", "close", "shrink", "b2", "bias", "face",
           "face_heat", "through", "through_heat", "d0", "d1", "d2", "d3")
rows <- matrix(numbers[-(1:2)], nrow = n, byrow = TRUE)
m <- as.list(as.data.frame(rows[, 1:17]))
names(m) <- names
expected <- rows[, 18]
air <- aperm(array(t(rows[, -(1:18)]), dim = c(4, steps + 1, n)), c(3, 1, 2)) # member, quantity, instant

slope <- function(t, y, cell) {
  i <- min(floor(t / 300), steps - 1)
  f <- t / 300 - i
  now <- (1 - f) * air[, , i + 1] + f * air[, , i + 2]
  a <- now[, 1]
  e <- now[, 2]
  warm <- now[, 4]
  e <- pmax(e + m$bias * pmin(pmax(10 * (a - e), 0), a), 0)
  heat <- now[, 3] * cell$heat
  x <- 4 * t / m$close
  u <- cell$skin * warm * (1 + m$open * exp(-x) * (1 + x * (1 + x * (0.5 + x / 6))))
  z <- pmax(y[1:n], 0)
  z2 <- z * z
  total <- z2 + m$b2
  drive <- pmax((a - e) * z2 - e * m$b2, 0)
  flux <- u * z * drive / (u * z * (cell$vapour * total + heat * z2) + (z + m$shrink) * total)
  list(c(-cell$take * flux, 0.0005 * 0.4 / 3600 * warm^4))
}

run <- function(method, h) {
  y <- c(rep(1, n), rep(0, n))
  for (c in seq_len(steps / 6) - 1) {
    middle <- (c + 0.5) * 1800
    packed <- 1 + 0.5 * (1 - exp(-middle / 10800))
    w <- (0:3 + 0.5) * pi
    term <- 0.03 * sqrt(144) * sin(w * middle / 3600 / 72) / w
    cell <- list(
      vapour = m$face + packed * m$through, heat = m$face_heat + packed * m$through_heat,
      skin = m$skin * m$dry * (1 + m$shrink) *
        exp(term[1] * m$d0 + term[2] * m$d1 + term[3] * m$d2 + term[4] * m$d3),
      take = 1 / (m$dry * m$water))
    times <- seq(c * 1800, (c + 1) * 1800, by = h)
    y <- if (method == "rk4") ode(y, times, slope, cell, method = "rk4")
         else ode(y, range(times), slope, cell, method = "ode45", rtol = 1e-6, atol = 1e-6)
    y <- as.numeric(y[nrow(y), -1])
  }
  m$moisture * (1 - y[1:n]) + (100 - m$moisture) * y[-(1:n)]
}

report <- function(name, method, h) {
  start <- proc.time()[["user.self"]]
  loss <- run(method, h)
  ns <- 1e9 * (proc.time()[["user.self"]] - start) / (n * steps)
  worst <- max(abs(loss - expected), na.rm = TRUE)
  if (worst < 0.05)
    cat(sprintf("%s: %.0f ns per member and step, within %.4f points\n", name, ns, worst))
  else
    cat(sprintf("%s: off by %.3f points, not counted\n", name, worst))
}
report("R deSolve rk4, h 900 s", "rk4", 900)
report("R deSolve rk4, h 300 s", "rk4", 300)
report("R deSolve ode45, tolerance 1e-06", "ode45", 1800)
