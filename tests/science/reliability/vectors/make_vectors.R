# What R makes of the fleets of fleets.csv: survreg (package survival 3.5-3) for both parametric models, npsurv
# (package npsurv 0.5-0) for the form-free one. Debian: r-base-core, r-cran-survival, r-cran-npsurv.
# Run in this folder: Rscript make_vectors.R; writes r.json.
suppressMessages({library(survival); library(npsurv)})
data <- read.csv("fleets.csv", stringsAsFactors = FALSE)
data$left <- data$left / 365.25 # years, as make_vectors.py
data$right <- as.numeric(data$right) / 365.25
one <- function(name) {
  x <- data[data$fleet == name, ]
  s <- Surv(ifelse(x$left == 0, NA, x$left), ifelse(is.infinite(x$right), NA, x$right), type = "interval2")
  control <- survreg.control(rel.tolerance = 1e-13, maxiter = 200)
  w <- survreg(s ~ 1, dist = "weibull", control = control)
  e <- survreg(s ~ 1, dist = "exponential", control = control)
  f <- npsurv(cbind(x$left, x$right), tol = 1e-12, maxit = 1000)
  sprintf(paste0(' "%s": {"shape": %.15g, "scale": %.15g, "weibull_ll": %.15g, "rate": %.15g, ',
                 '"exponential_ll": %.15g, "free_ll": %.15g}'),
          name, 1 / w$scale, exp(coef(w)), w$loglik[2], exp(-coef(e)), e$loglik[2], f$ll)
}
said <- vapply(unique(data$fleet), one, "")
writeLines(c("{", paste(said, collapse = ",\n"), "}"), "r.json")
