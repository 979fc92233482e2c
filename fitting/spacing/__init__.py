"""Sessions spaced so that each begins recovered, and planned against done."""
