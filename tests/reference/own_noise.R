# Noise of single athletes between own sessions and squad: base R, by adaptive quadrature.
#   Rscript tests/reference/own_noise.R > tests/reference/own_noise.csv
# Prior: SD of ln sigma evenly on ten points from .3 to .9, nu from trigamma(nu / 2) = 4 SD^2, ln s^2 flat.
# Data: eight athletes in two sessions (invented).
v <- c(31.2,32.0, 35.1,33.9, 28.4,28.5, 40.2,38.1, 33.3,33.0, 29.9,31.8, 36.6,36.9, 34.0,30.9)
m <- matrix(v, ncol = 2, byrow = TRUE); d <- m[, 2] - m[, 1]; n <- length(d)
s2 <- (d - mean(d))^2 / 2 * n / (n - 1); own <- 1
nu <- sapply(seq(.3, .9, length.out = 10), function(t)
  uniroot(function(x) trigamma(x / 2) - 4 * t^2, c(1e-2, 1e3), tol = 1e-12)$root)
like <- function(l, k) sapply(l, function(z) prod(df(s2 / exp(z), own, k) / exp(z)))
int <- function(f) sum(sapply(nu, function(k)
  integrate(function(l) f(l, k), -9, 6, rel.tol = 1e-10, subdivisions = 500)$value))
total <- int(like)
sd_of <- function(l, k, i) sqrt((k * exp(l) + own * s2[i]) / (k + own))
inside <- function(h, i) int(function(l, k) like(l, k) * (2 * pt(h / sd_of(l, k, i), k + own) - 1)) / total
below <- function(x, i) int(function(l, k)
  like(l, k) * pchisq((k + own) * sd_of(l, k, i)^2 / x^2, k + own, lower.tail = FALSE)) / total
at <- function(p, i) uniroot(function(x) below(x, i) - p, c(.01, 30), tol = 1e-9)$root
cat("athlete,half_width,typical_error,low,high\n")
for (i in 1:n) cat(sprintf("A%d,%.8f,%.8f,%.8f,%.8f\n", i,
  uniroot(function(h) inside(h, i) - .95, c(.1, 20), tol = 1e-9)$root, at(.5, i), at(.025, i), at(.975, i)))
