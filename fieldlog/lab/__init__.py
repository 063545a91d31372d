"""The laboratory: what measures, calibrates and trains. Not in the wheel; nothing imports it."""
