"""The field packet: a PDF to print, with a cover, lists, and a sheet for every site."""
