# Sizes of a plan whose typical error is only estimated: power.t.test at quantiles of the
# chi-square distribution, and the mean power by integrate().
# Run from this folder: Rscript planning.R > planning.json
library(jsonlite)
te <- 0.014; df <- 28; matters <- 0.015; power <- 0.8; level <- 0.95
limits <- te * sqrt(df / qchisq(c(0.975, 0.025), df)); sure <- te * sqrt(df / qchisq(0.2, df))
sd_of <- function(error, response) error * sqrt(2 + response^2)     # one group, one baseline
size <- function(error, type) power.t.test(delta = matters, sd = sqrt(2) * error, power = power,
  type = type, strict = TRUE, tol = 1e-10)$n
of_n <- function(error, n, type) power.t.test(n = n, delta = matters, sd = sqrt(2) * error,
  type = type, strict = TRUE)$power
one <- function(type) {
  n <- ceiling(size(te, type))
  largest <- uniroot(function(e) of_n(e, n, type) - power, c(te / 5, te * 5), tol = 1e-14)$root
  f <- function(x) sapply(x, function(v) of_n(te * sqrt(df / v), n, type) * dchisq(v, df))
  list(n = n, n_low = ceiling(size(limits[1], type)), n_high = ceiling(size(limits[2], type)),
       n_assured = ceiling(size(sure, type)),
       assurance = pchisq(df * te^2 / largest^2, df, lower.tail = FALSE),
       expected_power = integrate(f, 0, 300, rel.tol = 1e-10, subdivisions = 2000)$value)
}
# half width not exceeded with 80 %: s^2 chi-square(n - 1)/(n - 1) * df/chi-square(df) is an F
n <- 10
half <- qt(0.975, n - 1) * sqrt(2) * te / sqrt(n) * sqrt(qf(0.8, n - 1, df))
cat(toJSON(list(r_version = R.version.string, typical_error = te, df = df, matters = matters,
  power = power, limits = limits, one_group = one("paired"), two_groups_change = one("two.sample"),
  half_width = list(n = n, assured_of_noise = half)), digits = 12, auto_unbox = TRUE, pretty = TRUE))
