"""What the residuals of a fit say: forces that nothing explains, and what each lap decides."""
