"""Detection circuits as parts that can be at fault."""
