"""What a notebook or console shows of a Recording, Jump, Method, Plan, Study or Result."""
