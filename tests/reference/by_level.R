# Does the noise go with the level: gamma regression of own variances on ln(mean), base R.
#   Rscript tests/reference/by_level.R > tests/reference/by_level.csv
# Data: ten athletes in three sessions, two values missing (invented).
v <- c(31.2,32.0,31.5, 35.1,33.9,36.2, 28.4,28.5,NA, 40.2,38.1,41.9, 33.3,33.0,33.6,
       29.9,31.8,30.1, 36.6,36.9,38.8, 34.0,30.9,33.1, 44.1,40.8,43.0, 26.3,NA,26.9)
m <- matrix(v, ncol = 3, byrow = TRUE); n <- nrow(m)
long <- na.omit(data.frame(y = as.vector(t(m)), a = gl(n, 3), s = factor(rep(1:3, n))))
fit <- lm(y ~ a + s, long); e <- residuals(fit)
# session effects of the two-way fit; squares about the athlete's own mean of what is left
eff <- c(0, coef(fit)[c("s2", "s3")]); left <- long$y - eff[long$s]
ss <- tapply(left, long$a, function(x) sum((x - mean(x))^2)); d <- tapply(left, long$a, length) - 1
y <- ss / d / (1 - 1 / n); x <- log(tapply(long$y, long$a, mean))
g <- glm(y ~ x, family = Gamma(link = "log"), weights = d, control = glm.control(epsilon = 1e-14, maxit = 200))
phi <- max(summary(g)$dispersion, 2)
se <- sqrt(vcov(g)["x", "x"] / summary(g)$dispersion * phi) / 2
t <- qt(.975, n - 2); b <- coef(g)[["x"]] / 2
lev <- quantile(exp(x), c(.1, .9)); te <- exp(.5 * (coef(g)[[1]] + coef(g)[[2]] * log(lev)))
q <- sqrt(2) * qt(.975, df.residual(fit)) * te
cat("b,low,high,level_low,level_high,change_low,change_high\n")
cat(sprintf("%.9f", c(b, b - t * se, b + t * se, lev, q)), sep = ","); cat("\n")
