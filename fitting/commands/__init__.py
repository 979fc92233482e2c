"""The commands, by what they are for; each module imports what is heavy where it is used."""
