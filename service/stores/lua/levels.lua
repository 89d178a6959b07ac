-- Finished levels of searches. KEYS[1]: what all keys begin with. ARGV: the command, the search's
-- key, the level's number, and for `put` the data and how many bytes all levels may have.
--
-- level:KEY    hash, number to data
-- levels:used  sorted set of the searches, by when one of their levels was last read or put
-- levels:size  hash, the search to the bytes of its levels; field '' holds their sum

local P = KEYS[1]
local call = redis.call
local command, key, number, data, most = unpack(ARGV)
local clock = call('TIME')
local now = tonumber(clock[1]) * 1000000 + tonumber(clock[2])

if command == 'get' then
    call('ZADD', P .. 'levels:used', 'XX', now, key)
    return call('HGET', P .. 'level:' .. key, number)
end

if call('HSETNX', P .. 'level:' .. key, number, data) == 0 then
    return 0
end
call('ZADD', P .. 'levels:used', now, key)
call('HINCRBY', P .. 'levels:size', key, #data)
local sum = call('HINCRBY', P .. 'levels:size', '', #data)
-- The search at work was used last; it stays even where it is too large alone.
for _, other in ipairs(call('ZRANGE', P .. 'levels:used', 0, -2)) do
    if sum <= tonumber(most) then
        break
    end
    local size = tonumber(call('HGET', P .. 'levels:size', other))
    call('DEL', P .. 'level:' .. other)
    call('ZREM', P .. 'levels:used', other)
    call('HDEL', P .. 'levels:size', other)
    sum = call('HINCRBY', P .. 'levels:size', '', -size)
end
return 1
