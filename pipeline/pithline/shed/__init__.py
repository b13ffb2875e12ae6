"""The shed page: the whole job in a browser. It has no logic of its own; what it saves is what the commands read and write."""
