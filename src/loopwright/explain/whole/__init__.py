"""The bus and the system as a whole as parts that can be at fault, and what people and logs tell of it."""
