"""The workbench on screen: pages made on the server, edited in place."""
