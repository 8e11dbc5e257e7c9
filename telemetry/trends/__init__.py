"""Features of flights side by side: tables, baselines, evidence of a lasting change."""
