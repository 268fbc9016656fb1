"""The week's film: which job's pieces come from which roll or offcut."""
