"""Evidence of where green coffee grew: plots, statements of due diligence, the firm's role."""
