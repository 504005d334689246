"""The one landing: appraise a job, and get figures, findings and gaps."""
