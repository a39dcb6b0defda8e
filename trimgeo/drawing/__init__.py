"""Sheets and the DXF: one description in millimetres, several writers."""
