"""The one place for chance: rates, charts, tones, whiteness, contrasts and ties."""
