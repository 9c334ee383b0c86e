"""What each view paints. Plain code on a `Board`; the terminal library is not needed here."""
