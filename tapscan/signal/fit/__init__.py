"""Damped modes fitted to spectra: sub-bands, poles by a subspace method, maximum likelihood, standard errors."""
