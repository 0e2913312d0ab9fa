"""Simulated jumps and studies with exact truth; shares no code with cmjlab.jump."""
